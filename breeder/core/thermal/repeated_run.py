"""Simulate one box in one weather on an even grid, quickly enough for a fit that does so many times.

A chain of capacities has real modes that do not affect each other, so each is stepped alone: exact for weather that is
straight between the points (first-order hold).
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from .box import Network
from .regime_stepper import AIR, PAYLOAD

Array = NDArray[np.float64]


def simulate_course(
    net: Network, outside_c: Array, step_s: float, *, box_c: float, payload_c: float
) -> tuple[Array, Array]:
    """Return air and payload at each point of the grid, degC, both of the shape of `outside_c` (M,).

    Air and walls start at `box_c`, the payload at `payload_c`; nothing else heats or cools.
    """
    a, b = net.matrices()
    # Scaled by the square roots of the capacities A is symmetric, so its modes are real and orthogonal.
    root = np.sqrt([net.air_j_k, net.payload_j_k, *net.wall_j_k])
    rate, modes = np.linalg.eigh(a * root[:, None] / root)
    start = np.full(len(root), box_c)
    start[PAYLOAD] = payload_c
    x = rate * step_s
    kept, ramp = np.exp(x), (np.expm1(x) - x) / x**2
    push = step_s * (modes.T @ (root * b[:, 0]))
    driven = np.outer(push * (np.expm1(x) / x - ramp), outside_c[:-1]) + np.outer(push * ramp, outside_c[1:])
    each = np.concatenate([(modes.T @ (root * start))[:, None], driven], axis=1)
    for mode, share in zip(each, kept, strict=True):
        lower = np.stack([np.ones(len(mode)), np.full(len(mode), -share)])
        mode[:] = scipy.linalg.solve_banded((1, 0), lower, mode, check_finite=False)
    states = (modes / root[:, None])[[AIR, PAYLOAD]] @ each
    return states[0], states[1]
