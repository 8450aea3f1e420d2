"""Residual vibration by time-domain simulation with scipy, sharing nothing with quell.

Reads lines `shaper A@T A@T ...` and `mode HZ ZETA`; for each mode after a shaper prints the amplitude of the free
vibration at the last impulse over that of one unit impulse. The state is stepped from impulse to impulse by the matrix
exponential of the oscillator's own first-order system; no formula of a mode's response to impulses is used."""

import sys

import numpy as np
from scipy.linalg import expm


def amplitude(state, system, w, wd, zeta):
    """Size of the complex coordinate a with q(t) = Re(a exp(s t)): from two samples a quarter damped period apart."""
    quarter = np.pi / (2 * wd)
    later = expm(system * quarter) @ state
    return np.hypot(state[0], later[0] * np.exp(zeta * w * quarter))


def residual(impulses, frequency_hz, zeta):
    w = 2 * np.pi * frequency_hz
    wd = w * np.sqrt(1 - zeta**2)
    system = np.array([[0.0, 1.0], [-w * w, -2 * zeta * w]])
    state = np.zeros(2)
    time = 0.0
    for size, at in impulses:
        state = expm(system * (at - time)) @ state
        state[1] += size
        time = at
    alone = amplitude(np.array([0.0, 1.0]), system, w, wd, zeta)
    return amplitude(state, system, w, wd, zeta) / alone


def main():
    impulses = []
    for line in sys.stdin:
        word, *rest = line.split()
        if word == "shaper":
            impulses = [tuple(float(x) for x in pair.split("@")) for pair in rest]
        else:
            print(repr(float(residual(impulses, float(rest[0]), float(rest[1])))))


main()
