# SPDX-License-Identifier: GPL-3.0-or-later
"""The physics of each part: published data in, circuit parameters out.

One module per family of parts. Each holds its constants (name, unit, source beside the number), pure
functions on SI floats, and small frozen data classes that carry results to the netlist. Nothing is
re-exported here: import the module that is meant, for example ``from cranksag.parts import battery``.

Temperatures in signatures are in degrees Celsius and say so; everything else is SI. Provenance words used
in the tables: ``published`` (read in the source named), ``common practice`` (the trade's figure, no single
source), ``memory`` (from memory of a standard or of makers' data), ``engineering estimate``.
"""
