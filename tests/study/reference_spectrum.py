"""The work of `quell spectrum` on a long log by pandas.read_csv and scipy.signal.welch: the same rate, segments, overlap
and window. Prints the densities of bin 100 for comparison. usage: reference_spectrum.py FILE"""
import sys

import pandas
from scipy.signal import welch

log = pandas.read_csv(sys.argv[1])
time_s = log['time_s'].to_numpy()
rate_hz = (len(time_s) - 1) / (time_s[-1] - time_s[0])
found = []
for axis in ('ax_mps2', 'ay_mps2', 'az_mps2'):
    _, density = welch(log[axis].to_numpy(), rate_hz, 'hann', nperseg=6400, noverlap=4800)
    found.append(density[100])
print(rate_hz, *found)
