# SPDX-License-Identifier: GPL-3.0-or-later
"""A crank so short that a sweep over it costs little; invented."""

from __future__ import annotations

SHORT = """title = "short crank"
[battery]
rating = "800 A"
[crank]
key_on_before = "20 ms"
key_held = "150 ms"
after = "50 ms"
[engine]
fires_after = "never"
[[displays]]
name = "helm"
brownout = "6 V"
restarts_above = "7 V"
"""
