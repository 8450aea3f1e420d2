#!/usr/bin/env python3
"""Reading speed: `quell spectrum` on a 550 MB log with one and two threads, beside pandas.read_csv + scipy.signal.welch in
the same run: five runs each in turn, medians; and `wc -l` on the same file, the speed of merely looking at it.
usage: bench_reading.py build/quell FOLDER (where make_log is, and the log is made)"""
import json
import os
import statistics
import subprocess
import sys

from bench import run

quell, folder = sys.argv[1], sys.argv[2]
here = os.path.dirname(os.path.abspath(__file__))
log = os.path.join(folder, 'log.csv')
if not os.path.exists(log):
    subprocess.run([os.path.join(folder, 'make_log'), log + '.part'], check=True)
    os.rename(log + '.part', log)
megabytes = os.path.getsize(log) / 1e6


def command(threads):
    # sensor axes on both sides (--mount), so that both estimate the same three densities
    return [quell, 'spectrum', log, '--threads', str(threads), '--mount', 'up=+z,right=+x', '--json', '--quiet']


jobs = {
    'quell spectrum, 1 thread': command(1),
    'quell spectrum, 2 threads': command(2),
    'quell check': [quell, 'check', log, '--quiet', '--json'],
    'pandas + scipy': [sys.executable, os.path.join(here, 'reference_spectrum.py'), log],
    'wc -l': ['wc', '-l', log],
}


def agree():
    """Both must have estimated the same densities, or the comparison means nothing."""
    outputs = [subprocess.run(job, check=True, capture_output=True).stdout
               for job in (command(1), command(2), jobs['pandas + scipy'])]
    if outputs[0] != outputs[1]:
        sys.exit('bench: the number of threads changes the result')
    mine = json.loads(outputs[0])
    theirs = [float(word) for word in outputs[2].split()]
    ours = [mine['rate_hz']] + [mine['asd_m2ps3'][axis][100] for axis in 'xyz']
    worst = max(abs(a / b - 1) for a, b in zip(ours, theirs))
    if worst > 1e-6:
        sys.exit(f'bench: the densities differ by {worst:.1e}')
    return worst


worst = agree()
results = {name: [] for name in jobs}
for _ in range(5):
    for name, arguments in jobs.items():
        results[name].append(run(arguments))
median = {name: statistics.median(t for t, _ in runs) for name, runs in results.items()}
print(f'{megabytes:.0f} MB of text; rate and densities agree to {worst:.0e}')
print(f'{"":26} {"median (s)":>10} {"min (s)":>8} {"MB/s":>6} {"peak (MB)":>9} {"times faster":>12}')
for name, runs in results.items():
    ratio = f'{median["pandas + scipy"] / median[name]:12.1f}' if name.startswith('quell spectrum') else ' ' * 12
    print(f'{name:26} {median[name]:10.3f} {min(t for t, _ in runs):8.3f} {megabytes / median[name]:6.0f} '
          f'{max(m for _, m in runs):9.1f} {ratio}')
