#!/usr/bin/env python3
"""The whole job in a closed loop, with a machine whose true values are known: excite, simulate its motion, modes, choose, simulate with
the shaper chosen, compare, identify; then stops, foretold and measured in um. Prints a table of figures beside the truth.
usage: closed_loop.py QUELL [SEED]"""
import json
import math
import os
import subprocess
import sys
import tempfile

quell = os.path.abspath(sys.argv[1] if len(sys.argv) > 1 else 'build/quell')
seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1

TRUTH = [(47.3, 0.046, 1.0), (83.5, 0.028, 0.22)]
MACHINE = ''.join(' --mode %g:%g:%g' % mode for mode in TRUTH)
SENSOR = ' --rate 2000 --clock-error -0.4% --jitter 4% --lost 0.1% --rotation 12,-7,31deg --noise 120ug/rtHz --step 4mg --range 16g'
LIMITS = ' --axis x --travel 0..180mm --speed 200mm/s --acceleration 8000mm/s2 --step 0.005mm --dwell "P ms"'
INI = '''[machine]
name = Closed loop
[x]
acceleration = 8000 mm/s2
speed = 200 mm/s
[controller]
shapers = zv zvd ei
frequency = natural
frequency-unit = Hz
frequency-step = 0.1 Hz
damping = free
tolerance = 0.05
[part]
corner-speed = 8 mm/s
residual-limit = 10 %
'''
failed = []


def run(command, may_fail=False):
    done = subprocess.run(['sh', '-c', command.replace('quell ', quell + ' ', 1)], capture_output=True, text=True)
    if done.returncode != 0 and not may_fail:
        sys.exit('%s: exit %d\n%s' % (command, done.returncode, done.stderr))
    return done.stdout


def tell(what, got, wanted, right):
    print('%-50s %-30s %-26s %s' % (what, got, wanted, 'right' if right else 'WRONG'))
    if not right:
        failed.append(what)


def damped(hz, zeta):
    return hz * math.sqrt(1 - zeta * zeta)


def as_spec(shaper):
    spec = '%s:%r:%r' % (shaper['family'], shaper['frequency_hz'], shaper['damping_ratio'])
    return spec + (':%r' % shaper['tolerance'] if shaper['tolerance'] is not None else '')


def record(plan, name, noise_seed, shaper=None):
    run('quell simulate --quiet --motion %s%s%s --seed %d%s %s' %
        (plan, MACHINE, SENSOR, noise_seed, ' --shaper ' + shaper if shaper else '', name))


def recorded_off():
    run('quell excite --quiet --kind sweep --band 15:98 --seconds 40%s --plan sweep.json sweep.nc' % LIMITS)
    for repeat in 0, 1:
        record('sweep.json', 'off%d.csv' % repeat, seed + repeat)
    found = json.loads(run('quell modes off0.csv --quiet --json --excitation sweep.json --shaper-on none'))['modes']
    tell('modes found', len(found), len(TRUTH), len(found) == len(TRUTH))
    for mode, (hz, zeta, c) in zip(found, TRUTH):
        for key, true, form in (('frequency', hz, '%.3f Hz'), ('damping_ratio', zeta, '%.5f'), ('participation', c, '%.3f')):
            got = mode['frequency_hz' if key == 'frequency' else key]
            low, high = mode['frequency_ci95_hz' if key == 'frequency' else key + '_ci95']
            tell('  %s' % key, (form + ' (%.4g to %.4g)') % (got, low, high), form % true, low <= true <= high)


def chosen():
    with open('machine.ini', 'w') as file:
        file.write(INI)
    choice = json.loads(run('quell choose --quiet --json --x off0.csv off1.csv --excitation sweep.json --shaper-on none --machine machine.ini'))
    row = choice['axes']['x']['candidates'][choice['axes']['x']['chosen']]
    spec = as_spec(row['shaper'])
    left = json.loads(run('quell shaper %s --json --quiet %s' % (spec, ' '.join('--at %g:%g' % mode[:2] for mode in TRUTH))))['residual']
    tell('shaper chosen', spec[:30], 'worst R within 10 %%: %.1f %%' % (100 * row['residual_worst']), row['residual_worst'] <= 0.1)
    return spec, [mode['residual'] for mode in left]


def compared(spec):
    for repeat in 0, 1:
        record('sweep.json', 'on%d.csv' % repeat, seed + 10 + repeat, spec)
    told = json.loads(run('quell compare off0.csv off1.csv --after on0.csv on1.csv --axis x --excitation sweep.json --json --quiet --applied ' + spec))
    for mode in told['modes']:
        tell('  change at %.1f Hz' % mode['before']['frequency_hz'], '%.1f dB (%.1f to %.1f)' % (mode['change_db'], *mode['ci95_db']),
             'a fall that counts', mode['change_db'] < -3 and mode['counts'])
    tell('compare --applied', told['applied']['agreement'], 'works-as-predicted', told['applied']['agreement'] == 'works-as-predicted')
    same = json.loads(run('quell compare off0.csv --after off1.csv --axis x --excitation sweep.json --json --quiet'))
    counts = sum(item['counts'] for item in same['bands'] + same['modes'])
    tell('no change: bands and modes that count', counts, '0', counts == 0)


def identified(spec):
    told = json.loads(run('quell identify off0.csv off1.csv --on on0.csv on1.csv --axis x --json --quiet --expected ' + spec))
    best = told['candidates'][told['best']] if isinstance(told['best'], int) else told['best']
    got = best['shaper']
    family, hz = spec.split(':')[0], float(spec.split(':')[1])
    tell('identify', '%s at %.2f Hz, ratio %.3f' % (got['family'], got['frequency_hz'], got['damping_ratio']), spec[:26],
         got['family'] == family and abs(got['frequency_hz'] / hz - 1) < 0.005)
    tell('  agrees with what was expected', told['agrees_with_expected'], 'True', told['agrees_with_expected'] is True)
    off = json.loads(run('quell identify off0.csv --on off1.csv --axis x --json --quiet --expected ' + spec))
    tell('  shaper not in effect', 'in effect: %s' % off['in_effect'], 'False', off['in_effect'] is False)


def stopped(spec):
    run('quell excite --quiet --kind stops --lowest 40:0.04 --seconds 30%s --plan stops.json stops.nc' % LIMITS)
    record('stops.json', 'stops-off.csv', seed + 20)
    record('stops.json', 'stops-on.csv', seed + 21, spec)
    run('quell modes off0.csv --quiet --json --excitation sweep.json --shaper-on none >modes.json')
    told = json.loads(run('quell compare stops-off.csv --after stops-on.csv --axis x --json --quiet'))['stops']
    truth = [0.0, 0.0]
    plan = json.load(open('stops.json'))
    speeds = [speed for speed, rest in zip(plan['moves']['speed_mps'], plan['moves']['rest_s']) if rest > 0][4:]
    for side, shaper in enumerate(('none', spec)):
        for speed in speeds:
            foretold = json.loads(run('quell predict modes.json --stop %rm/s:8m/s2 --shaper %s --json --quiet' % (speed, shaper)))
            truth[side] += sum(mode['amplitude_um'] ** 2 for mode in foretold['ripple'] if mode['amplitude_um'] is not None)
    truth = [math.sqrt(square / len(speeds)) for square in truth]
    for side, key in enumerate(('before_um', 'after_um')):
        tell('stops, %s: measured' % key.split('_')[0], '%.2f um' % told[key], 'foretold %.2f um' % truth[side],
             abs(told[key] - truth[side]) < 0.05 * truth[side] + 0.3)


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        print('%-50s %-30s %-26s' % ('the loop', 'found', 'true or wanted'))
        recorded_off()
        spec, left = chosen()
        compared(spec)
        identified(spec)
        stopped(spec)
        os.chdir('/')
    print('%d wrong' % len(failed))
    sys.exit(1 if failed else 0)


main()
