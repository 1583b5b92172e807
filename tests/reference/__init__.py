# SPDX-License-Identifier: GPL-3.0-or-later
"""An independent solution of the boat's equations with scipy, for comparison with the netlists.

No netlist is read and nothing of `cranksag.circuit` or `cranksag.solver` is used: `laws` states the equations of the
parts, `network` solves the resistive network between them, `assembly` puts a boat together, `automaton` holds what
switches, `solution` integrates with located events.
"""
