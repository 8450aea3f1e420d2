"""Answers tests/external/test_spectrum_scipy.c: a line `spectrum RATE SEGMENT OVERLAP WINDOW N` and N samples, one a line,
gives the density of scipy.signal.welch, one value a line with 17 digits."""
import sys

import numpy as np
from scipy import signal

WINDOWS = {"hann": "hann", "hamming": "hamming", "blackman-harris": "blackmanharris", "flat-top": "flattop",
           "rectangular": "boxcar"}

lines = iter(sys.stdin)
for line in lines:
    word, rate, segment, overlap, window, count = line.split()
    assert word == "spectrum"
    x = np.array([float(next(lines)) for _ in range(int(count))])
    segment = int(segment)
    kept = int(float(overlap) * segment + 0.5)
    _, density = signal.welch(x, float(rate), signal.get_window(WINDOWS[window], segment), segment, kept,
                              detrend="constant")
    for value in density:
        print("%.17g" % value)
