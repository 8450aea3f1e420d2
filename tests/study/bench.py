#!/usr/bin/env python3
"""Wall time and peak memory of `quell choose` on the demonstration recordings, and of the same work by a scipy script
(reference_choose.py) in the same run: five runs each in turn, medians. usage: bench.py build/quell"""
import os
import statistics
import sys
import time


def run(arguments):
    """Seconds and peak resident MB of one run; its output goes nowhere."""
    start = time.perf_counter()
    null = os.open(os.devnull, os.O_WRONLY)
    child = os.posix_spawnp(arguments[0], arguments, os.environ,
                            file_actions=[(os.POSIX_SPAWN_DUP2, null, 1)])
    os.close(null)
    _, state, usage = os.wait4(child, 0)
    if os.waitstatus_to_exitcode(state) not in (0, 5):
        sys.exit(f'bench: {arguments[0]} exited with {os.waitstatus_to_exitcode(state)}')
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def main():
    quell = sys.argv[1] if len(sys.argv) > 1 else 'build/quell'
    here = os.path.dirname(os.path.abspath(__file__))
    x, y = 'data/heron/before-x.csv.gz', 'data/heron/before-y.csv.gz'
    jobs = {
        'quell choose': [quell, 'choose', '--x', x, '--y', y, '--machine', 'data/heron/heron.ini', '--old', 'zvd:43.5:0.07',
                         '--shaper-on', 'none', '--quiet', '--json'],
        'scipy script': [sys.executable, os.path.join(here, 'reference_choose.py'), x, y],
    }

    results = {name: [] for name in jobs}
    for _ in range(5):
        for name, arguments in jobs.items():
            results[name].append(run(arguments))
    print(f'{"":14} {"median (s)":>10} {"min (s)":>8} {"peak (MB)":>9}')
    for name, runs in results.items():
        print(f'{name:14} {statistics.median(t for t, _ in runs):10.3f} {min(t for t, _ in runs):8.3f} '
              f'{max(m for _, m in runs):9.1f}')
    ratio = statistics.median(t for t, _ in results['scipy script']) / statistics.median(t for t, _ in results['quell choose'])
    print(f'quell choose is {ratio:.1f} times faster')


if __name__ == '__main__':
    main()
