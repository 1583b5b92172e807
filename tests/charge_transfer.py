# SPDX-License-Identifier: GPL-3.0-or-later
"""A bank's charge transfer integrated from its current alone."""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp

from cranksag.parts.battery import BatteryCircuit


def charge_transfer(bank: BatteryCircuit, time: np.ndarray, current: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Voltage [V] at the moments `at` [s] of C dv/dt = i - Ia sinh(v / Va), from rest at `time[0]`.

    `current` [A]: out of the bank, straight between the samples at `time` [s].
    """
    ends = (float(time[0]), float(at[-1]))
    size, scale, capacitance = bank.activation_current, bank.activation_voltage, bank.activation_capacitance

    def slope(t: float, v: np.ndarray) -> np.ndarray:
        return (np.interp(t, time, current) - size * np.sinh(v / scale)) / capacitance

    solved = solve_ivp(slope, ends, [0.0], t_eval=at, max_step=5e-3, rtol=1e-6, atol=1e-6)
    return np.asarray(solved.y[0])
