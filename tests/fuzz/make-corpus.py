#!/usr/bin/env python3
"""Writes the fuzz corpus, tests/fuzz/corpus/<target>/: small files of every dialect and format, all made here.
What the leading bytes mean stands in fuzz.h. usage: make-corpus.py [FOLDER]"""
import gzip
import json
import math
import os
import struct
import sys

top = sys.argv[1] if len(sys.argv) > 1 else os.path.join(os.path.dirname(os.path.abspath(__file__)), 'corpus')


def write(target, name, data, setup='000000000\n'):
    folder = os.path.join(top, target)
    os.makedirs(folder, exist_ok=True)
    if isinstance(data, str):
        data = data.encode()
    with open(os.path.join(folder, name), 'wb') as file:
        file.write(setup.encode('latin-1') + data)


def motion(i, rate=200.0):
    t = i / rate
    return t, 1.5 * math.sin(2 * math.pi * 31 * t), 0.4 * math.cos(2 * math.pi * 7 * t), 9.8 + 0.02 * math.sin(t)


# ---------------------------------------------------------------- delimited text


def rows(count, form='{:.4f},{:.3f},{:.3f},{:.3f}\n', skip=(), scale=(1, 1), first=0, rate=200.0):
    out = []
    for i in range(first, first + count):
        if i in skip:
            continue
        t, x, y, z = motion(i, rate)
        out.append(form.format(t * scale[0], x * scale[1], y * scale[1], z * scale[1]))
    return ''.join(out)


def text(name, data, setup='000000000\n'):
    write('text', name, data, setup)


g = 1 / 9.80665
text('comma', 't_s,ax_mps2,ay_mps2,az_mps2\n' + rows(60))
text('semicolon-decimal-comma', 't_s;ax_g;ay_g;az_g\n' + rows(50, '{:.4f};{:.3f};{:.3f};{:.3f}\n', scale=(1, g)).replace('.', ','))
text('tab-crlf-units', 'time (ms)\tx [mg]\ty [mg]\tz [mg]\r\n' + rows(40, '{:.1f}\t{:.0f}\t{:.0f}\t{:.0f}\r\n', scale=(1e3, 1e3 * g)))
text('blanks-no-head', rows(110, ' {:9.4f} {:8.3f}  {:8.3f} {:8.3f}\n'))
text('cr-only', 't_s,x,y,z\r' + rows(110).replace('\n', '\r'))
text('bom-quotes', '\ufeff"t [s]","x, first","y","z"\n' + rows(30, '"{:.4f}","{:.3f}","{:.3f}","{:.3f}"\n'))
text('latin1', b't_s;Beschl\xe4t X (m/s\xb2);y;z\n' + rows(30, '{:.4f};{:.3f};{:.3f};{:.3f}\n').encode())
text('comments', '# logger 3\n# rate: 200 Hz\n% other\n; third\n// fourth\n\nt_s,x,y,z\n' + rows(30) + '# end\n\n')
text('preamble', 'Device: A\nSerial: 12\nStart: 2024-03-01 10:00:00\nRate;200;Hz\n\nNo;t (s);x;y;z\n' +
     ''.join(f'{i};' + rows(1, '{:.3f};{:.2f};{:.2f};{:.2f}\n', first=i) for i in range(40)))
text('missing', 't_s,x,y,z\n' + rows(20) + '0.1,,1,2\n0.105,nan,1,2\n0.11,null,NaN,\n' + rows(20, first=23))
text('gaps', 't_s,x,y,z\n' + rows(90, skip=set(range(20, 23)) | {40} | set(range(60, 80))))
text('exponents', 't_s,x,y,z\n' + rows(30, '{:.4e},{:.3E},{:+.2e},{:.3g}\n'))
text('epoch-us', ''.join(f'{1700000000000000 + 5000 * i},{motion(i)[1]:.3f},{motion(i)[2]:.3f},{motion(i)[3]:.3f}\n' for i in range(120)))
text('epoch-s', ''.join(f'{1700000000 + i // 20}.{i % 20 * 50:03d} {motion(i)[1]:.2f} {motion(i)[3]:.2f}\n' for i in range(60)))
text('iso', 'time,x,y,z\n' + ''.join(
    f'2024-02-29T23:59:{50 + i // 20:02d}.{i % 20 * 50:03d}Z,{motion(i)[1]:.2f},{motion(i)[2]:.2f},{motion(i)[3]:.2f}\n' for i in range(40)))
text('iso-zone', 'date;x\n' + ''.join(f'2024-10-27 02:59:{30 + i // 10:02d},{i % 10}00+01:00;{motion(i)[3]:.2f}\n' for i in range(40)))
text('date-time-columns', 'Date,Time,x,y,z\n' + ''.join(
    f'2024/03/0{1 + i // 20},{23 * (i < 20):02d}:59:{59 * (i < 20):02d}.{i % 20 * 50:03d},{motion(i)[1]:.2f},0.{i % 7},9.8\n' for i in range(40)))
text('counter', 'n,t_s,x,y,z\n' + ''.join(f'{i},' + rows(1, first=i) for i in range(60) if i not in (11, 12, 30)))
text('counter-wraps', 'count,t_s,x_g\n' + ''.join(f'{i % 256},{i // 8 * 0.04:.3f},{i % 9}\n' for i in range(200, 330)))
text('bursts', 't_s,x,y,z\n' + ''.join(f'{i // 10 * 0.05:.3f},{i % 7},{i % 5},9.8\n' for i in range(120)))
text('no-time', 'x,y,z\n' + ''.join(f'{i % 7},{i % 5},9.{i % 10}\n' for i in range(40)), '001000000\n')
text('one-column', ''.join(f'{9.8 + (i * 7 % 13) / 100:.2f}\n' for i in range(60)), '032000000\n')
text('columns-named', 't_s;temp;x;z\n' + ''.join(f'{i / 100};21;{i % 5};9.8\n' for i in range(30)), '510000000\n')
text('counts', 't_s,x,y,z\n' + ''.join(f'{i / 100},{i * 37 % 400 - 200},{i % 3},250\n' for i in range(40)), '050000000\n')
text('span-mount', 't_s,x,y,z\n' + rows(60), '000021300\n')
text('jitter', 't_s,x,y,z\n' + ''.join(f'{0.005 * i + 0.0013 * ((i * 7919) % 11 - 5) / 10:.6f},{motion(i)[1]:.3f},0,9.8\n' for i in range(90)))
text('cut-short', 't_s,x,y,z\n' + rows(20) + '0.1,1.2,0.')
text('spectrum', 'frequency (Hz),asd\n' + ''.join(f'{i},{1 / (1 + i)}\n' for i in range(20)))
text('nul-in-rows', 't_s,x,y,z\n' + rows(20) + '0.1,\0\0,1,2\n' + rows(5, first=21))
text('nul-in-head', 't,x\0y,z\n' + rows(20))
text('nul-at-end', 't_s,x,y,z\n' + rows(20) + '\0' * 40)
text('utf16-little', ('t_s,x,y,z\n' + rows(40)).encode('utf-16'))
text('utf16-big', b'\xfe\xff' + ('t_s;x;y;z\r\n' + rows(40, '{:.4f};{:.2f};{:.2f};{:.2f}\r\n')).encode('utf-16-be'))
text('utf16-cut', ('t_s,x_\u00e4,y,z\n' + rows(40)).encode('utf-16')[:901])
text('utf16-bad', ('t_s,x,y,z\n' + rows(20)).encode('utf-16') + b'\x00\xd8\x0a\x00' + rows(5, first=20).encode('utf-16-le'))
text('units-line', 'Time\tAcc X\tAcc Y\tAcc Z\n(s)\t(g)\t(g)\t(g)\n' + rows(40, '{:.4f}\t{:.3f}\t{:.3f}\t{:.3f}\n', scale=(1, g)))
text('stated-rate', '# Sample rate: 400 Hz\n# range: +-16 g\nx,y,z\n' + ''.join(f'{i % 7},{i % 5},9.{i % 10}\n' for i in range(60)))
text('twelve-hours', 'when,x,y,z\n' + ''.join(
    f'03/01/2024 {11 + i // 30:02d}:59:{58 + i // 15 % 2:02d}.{i % 15 * 66:03d} {"AM" if i < 30 else "PM"},1,2,9.8\n' for i in range(60)))
text('huge-numbers', 't_s,x,y,z\n' + ''.join(f'{i / 50},1e308,-1e308,1e{300 + i % 9}\n' for i in range(120)), '030100000\n')
text('tiny-numbers', 't_s,x,y,z\n' + ''.join(f'{i}e-3,4.9e-324,0.{"0" * 30}1,1e-400\n' for i in range(20)), '030100000\n')
text('long-digits', 't_s,x_g\n' + ''.join(f'0.{i:03d}{"0123456789" * 4},9.{"80665" * 9}{i}\n' for i in range(20)))
text('many-columns', ','.join(f'c{i}' for i in range(256)) + '\n' + (','.join(str(i) for i in range(256)) + '\n') * 3, '801000000\n')
text('option-text', 't=1,x=3\n' + 't_s,y_g,x_g\n' + ''.join(f'{i / 50},{i % 3},{i % 5}\n' for i in range(30)), '?30000000\n')
text('gzip', gzip.compress(('t_s,x,y,z\n' + rows(60)).encode(), 9, mtime=0))
text('gzip-two-members', gzip.compress(('t_s,x,y,z\n' + rows(30)).encode(), 9, mtime=0) + gzip.compress(rows(30, first=30).encode(), 9, mtime=0))
text('gzip-cut', gzip.compress(('t_s,x,y,z\n' + rows(60)).encode(), 9, mtime=0)[:300])
text('gzip-trailing', gzip.compress(('t_s,x,y,z\n' + rows(20)).encode(), 9, mtime=0) + b'trailing words')
text('gzip-of-gzip', gzip.compress(gzip.compress(b't_s,x_g\n', 9, mtime=0), 9, mtime=0))
# behind rows put in after the first line: 1 kHz, from 0 s on
text('lead-3000', 't_s,x,y,z\n' + rows(20, first=3000, rate=1000.0), '000000003\n')
text('lead-9000-gap', 't_s;x;y;z\n' + rows(30, '{:.4f};{:.3f};{:.3f};{:.3f}\n', skip=(9006, 9007, 9008, 9015), first=9000, rate=1000.0), '000000305\n')
text('lead-12000-packed', 't_s,x,y,z\n' + rows(9, first=12000, rate=1000.0) + '12.020,much,1,2\n', '00000000>\n')
text('lead-17000-backwards', 't_s,x,y,z\n' + rows(9, first=2, rate=1000.0), '000000007\n')
text('lead-300-no-memory', 't_s,x,y,z\n' + rows(9, first=300, rate=1000.0), '000000942\n')
text('lead-5000-source-fails', 't_s,x,y,z\n' + rows(9, first=5000, rate=1000.0), '0000009\xfe4\n')

# with a thread that reads ahead: 'p' is 64 beyond '0'
text('lead-9000-ahead', 't_s,x,y,z\n' + rows(20, first=9000, rate=1000.0), '000000p05\n')
text('lead-12000-ahead-source-fails', 't_s,x,y,z\n' + rows(9, first=12000, rate=1000.0), '000000p\xfe6\n')
text('lead-9000-ahead-no-memory', 't_s,x,y,z\n' + rows(9, first=9000, rate=1000.0), '000000pp5\n')
text('lead-12000-ahead-words', 't_s,x,y,z\n' + rows(9, first=12000, rate=1000.0) + '12.020,much,1,2\n', '000000p06\n')

# ---------------------------------------------------------------- universal files


def uff_heads(function=1, ordinate=2, count=0, even=1, start=0.0, step=0.005, axis=1, abscissa=17, quantity=12, label='s'):
    return [
        'a made-up recording', 'NONE', '01-MAR-24 10:00:00', 'NONE', 'NONE',
        f'{function:5d}{1:10d}{0:5d}{0:10d} {"NONE":10s}{1:10d}{axis:4d} {"NONE":10s}{0:10d}{0:4d}',
        f'{ordinate:10d}{count:10d}{even:10d}{start:13.5E}{step:13.5E}{0:13.5E}',
        f'{abscissa:10d}{0:5d}{0:5d}{0:5d} {"Time":20s} {label:20s}',
        f'{quantity:10d}{0:5d}{0:5d}{0:5d} {"Acceleration":20s} {"m/s2":20s}',
        f'{0:10d}{0:5d}{0:5d}{0:5d} {"NONE":20s} {"NONE":20s}',
        f'{0:10d}{0:5d}{0:5d}{0:5d} {"NONE":20s} {"NONE":20s}',
    ]


def uff_points(axis, count, even, ordinate, step):
    """Each point's numbers, and whether they are singles: of even spacing the ordinate alone; the abscissa is a single."""
    double = ordinate in (4, 6)
    for i in range(count):
        point = [] if even else [(i * step * (1 + 0.001 * (i % 3)), False)]
        point.append((motion(i)[axis], double))
        if ordinate in (5, 6):
            point.append((0.5, double))
        yield point


def uff_text(axis=1, count=40, even=1, ordinate=2, step=0.005, end='\n', **heads):
    lines = uff_heads(ordinate=ordinate, count=count, even=even, step=step, axis=axis, **heads)
    # points a line: the standard's formats of record 12
    a_line = {(2, 1): 6, (4, 1): 4, (5, 1): 3, (6, 1): 2, (2, 0): 3, (4, 0): 2, (5, 0): 2, (6, 0): 1}[ordinate, even]
    points = [''.join(f'{v:20.11E}' if double else f'{v:13.5E}' for v, double in point)
              for point in uff_points(axis, count, even, ordinate, step)]
    lines += [''.join(points[i:i + a_line]) for i in range(0, count, a_line)]
    return end.join(['    -1', '    58'] + lines + ['    -1', ''])


def uff_binary(axis=1, count=40, even=1, ordinate=2, step=0.005, order=1, stated=None, **heads):
    mark = '<' if order == 1 else '>'
    data = b''.join(struct.pack(mark + ('d' if double else 'f'), v)
                    for point in uff_points(axis, count, even, ordinate, step) for v, double in point)
    lines = uff_heads(ordinate=ordinate, count=count, even=even, step=step, axis=axis, **heads)
    first = f'    58b{order:6d}{2:6d}{11:12d}{len(data) if stated is None else stated:12d}{0:6d}{0:6d}{0:12d}{0:12d}'
    return '\n'.join(['    -1', first] + lines + ['']).encode() + data + b'\n    -1\n'


def uff(name, data, setup='000000000\n'):
    write('uff', name, data, setup)


units = '    -1\n   164\n         1SI: Meter (newton)          2\n  1.00000E+00  1.00000E+00  1.00000E+00\n  2.73150E+02\n    -1\n'
other = '    -1\n   151\nmodel\nNONE\nNONE\nNONE\nNONE\nNONE\nNONE\n    -1\n'
for ordinate in (2, 4, 5, 6):
    for even in (1, 0):
        uff(f'text-{ordinate}-{"even" if even else "uneven"}', uff_text(ordinate=ordinate, even=even, count=30))
        for order in (1, 2):
            uff(f'binary-{ordinate}-{"even" if even else "uneven"}-{"little" if order == 1 else "big"}',
                uff_binary(ordinate=ordinate, even=even, order=order, count=30))
uff('three-axes', ''.join(uff_text(axis=k, count=30) for k in (1, 2, 3)))
uff('three-axes-binary', b''.join(uff_binary(axis=k, count=60) for k in (1, 2, 3)))
uff('after-other-sets', other + units + uff_text(axis=3))
uff('crlf', uff_text(count=24, end='\r\n'))
uff('response-only', uff_text(function=4, ordinate=5, abscissa=18, count=20))
uff('response-then-time', uff_text(function=4, ordinate=5, abscissa=18, count=20) + uff_text(axis=2))
uff('two-lengths', uff_text(axis=1, count=30) + uff_text(axis=2, count=20))
uff('two-steps', uff_binary(axis=1) + uff_binary(axis=2, step=0.004))
uff('cut-in-values', uff_text(count=40)[:1200])
uff('cut-in-bytes', uff_binary(count=60)[:-90])
uff('cut-in-heads', uff_text()[:400])
uff('bytes-too-many', uff_binary(count=20, stated=2000000000))
uff('bytes-too-few', uff_binary(count=40, stated=80))
uff('count-too-large', uff_text(count=40).replace(f'{40:10d}', f'{2147483647:10d}'))
uff('marker-in-bytes', uff_binary(count=40).replace(struct.pack('<f', motion(9)[1]), b'\n   '))
uff('step-zero', uff_text(step=0.0))
uff('force', uff_text(quantity=9))
uff('lower-e-and-d', uff_text(ordinate=4).replace('E+', 'D+').replace('E-', 'e-'))
uff('no-end', uff_text()[:-7])
uff('three-axes-ahead', ''.join(uff_text(axis=k, count=30) for k in (1, 2, 3)), '000000p00\n')
uff('gzip', gzip.compress(uff_text().encode(), 9, mtime=0))

# ---------------------------------------------------------------- sound files


def chunk(kind, data, big=False):
    return kind + struct.pack('>I' if big else '<I', len(data)) + data + b'\0' * (len(data) % 2)


def samples(count, channels, bits, floating=False, big=False):
    out = b''
    mark = '>' if big else '<'
    for i in range(count):
        for k in range(channels):
            v = motion(i, 800.0)[1 + k % 3] / 16
            if floating:
                out += struct.pack(mark + ('f' if bits == 32 else 'd'), v)
            elif bits == 8:
                out += bytes([int(128 + 100 * v)])
            else:
                whole = int(v * 2**(bits - 1) * 0.9)
                out += whole.to_bytes(bits // 8, 'big' if big else 'little', signed=True)
    return out


def wave(count=100, channels=3, bits=16, tag=1, rate=800, floating=False, extensible=False, extra=b'', size=None, riff=b'RIFF'):
    big = riff == b'RIFX'
    mark = '>' if big else '<'
    data = samples(count, channels, bits, floating, big)
    form = struct.pack(mark + 'HHIIHH', 0xfffe if extensible else tag, channels, rate, rate * channels * bits // 8 & 0xffffffff, channels * bits // 8, bits)
    if extensible:
        form += struct.pack(mark + 'HHI', 22, bits, 0) + struct.pack('<H', tag) + bytes.fromhex('000000001000800000aa00389b71')
    body = b'WAVE' + chunk(b'fmt ', form, big) + extra + chunk(b'data', data, big)
    return riff + struct.pack(mark + 'I', len(body) if size is None else size) + body


def sound(name, data, setup='060000000\n'):
    write('sound', name, data, setup)


for bits in (8, 16, 24, 32):
    sound(f'pcm-{bits}', wave(bits=bits))
sound('float-32', wave(bits=32, tag=3, floating=True), '030000000\n')
sound('float-64', wave(bits=64, tag=3, floating=True, count=50), '030000000\n')
sound('float-nan', wave(bits=32, tag=3, floating=True)[:-400] + struct.pack('<f', math.nan) * 100, '030000000\n')
sound('float-infinite', wave(bits=32, tag=3, floating=True)[:-400] + struct.pack('<f', math.inf) * 100, '030000000\n')
sound('extensible', wave(bits=24, extensible=True))
sound('big-endian', wave(riff=b'RIFX'))
sound('one-channel', wave(channels=1))
sound('seven-channels', wave(channels=7, count=40))
sound('mu-law', wave(bits=8, tag=7))
sound('adpcm', wave(bits=4, tag=2, channels=1, count=8).replace(b'data', b'fact', 1))
sound('pcm-16-ahead', wave(), '060000p00\n')
sound('no-scale', wave(), '000000000\n')
sound('cut', wave()[:300])
sound('cut-in-head', wave()[:30])
sound('no-data', wave().replace(b'data', b'LIST', 1))
sound('no-form', wave().replace(b'fmt ', b'junk', 1))
sound('size-zero', wave(size=0))
sound('size-huge', wave(size=0xffffffff))
sound('rate-zero', wave(rate=0))
sound('rate-huge', wave(rate=0x7fffffff))
sound('no-channels', wave().replace(struct.pack('<HH', 1, 3), struct.pack('<HH', 1, 0), 1))
sound('chunk-between', wave(extra=chunk(b'LIST', b'INFOISFT\x06\0\0\0quell\0') + chunk(b'bext', b'x' * 33)))
sound('rf64', b'RF64\xff\xff\xff\xffWAVE' + chunk(b'ds64', struct.pack('<QQQI', 700, 600, 100, 0)) + wave()[12:])
sound('aiff', b'FORM' + struct.pack('>I', 4 + 26 + 16 + 300) + b'AIFF' + chunk(b'COMM', struct.pack('>hIh', 3, 50, 16) +
      bytes.fromhex('4008c800000000000000'), True) + chunk(b'SSND', struct.pack('>II', 0, 0) + samples(50, 3, 16, big=True), True))
sound('au', b'.snd' + struct.pack('>IIIII', 24, 300, 3, 800, 3) + samples(50, 3, 16, big=True))

# ---------------------------------------------------------------- machine files

whole = '''; a machine made up for this
[machine]
name = Test bench "A"
[x] ; head
acceleration = 6000 mm/s2
speed = 200 mm/s
step = 0.0125 mm
moving-mass = 900 g
load = 0..300 g
[y]
acceleration = 4 m/s2
[controller]
shapers = zv zvd ei twin
frequency = damped
frequency-unit = rad/s
frequency-step = 0.1 Hz
frequency-range = 10..150 Hz
damping = 0.1
damping-unit = percent
tolerance = 0.05
impulses = 5
impulse-times = differences
tick = 0.05 ms
one-setting-for = frequency damping
axis-delay = yes
setting = "axis {axis} type {name} {family} {frequency} {frequency_hz} {period_s} {damping_ratio} {residual_limit} {amplitudes} {times_s} {duration_s} {{ok"
names = zv=A zvd=B ei=C twin=D
[family twin]
times = 0 0.5 1
amplitudes = 1 | 0 2 | 0 0 1
[part]
corner-speed = 8 mm/s
rounding-limit = 0.15 mm
residual-limit = 10 %
[notes]
sensor = screwed; to the head
belts = new
'''


def machine(name, data, setup='00\n'):
    write('machine', name, data, setup)


machine('whole', whole)
machine('crlf-bom', '\ufeff' + whole.replace('\n', '\r\n'), '30\n')
machine('unknown-values', '[x]\nacceleration = unknown\n[controller]\nshapers = none\ndamping = unknown\n[part]\ncorner-speed = unknown\nripple-limit = 5 um\n')
machine('period', '[x]\nspeed = 0.2 m/s\n[controller]\nshapers = ei-two-hump ei-three-hump zvdd um-zv\nfrequency-unit = s\nfrequency-step = 0.1 ms\ndamping-unit = Q\ndamping = free\nimpulses = 0\ntolerance = 0.2\n')
machine('repeated-section', '[x]\nspeed = 1 m/s\n[x]\nspeed = 2 m/s\n')
machine('repeated-key', '[x]\nspeed = 1 m/s\nspeed = 2 m/s\n')
machine('indented', '[x]\nspeed = 1 m/s\n  more\n')
machine('open-quote', '[controller]\nsetting = "a {axis\n')
machine('bad-placeholder', '[x]\nspeed = 1 m/s\n[controller]\nshapers = zv\nsetting = "{axes} {}"\n')
machine('no-unit', '[x]\nacceleration = 6000\n')
machine('long-line', '[notes]\na = ' + 'x' * 4080 + '\n')
machine('too-long-line', '[notes]\na = ' + 'x' * 4100 + '\n')
machine('nul', '[x]\nspeed = 1 \0m/s\n')
machine('latin1', '[machine]\nname = B\xe4nk\n'.encode('latin-1'))
machine('source-fails', whole, '9:\n')
for degree in (1, 8):
    machine(f'own-{degree}', '[x]\nspeed = 1 m/s\n[controller]\nshapers = own\n[family own]\ntimes = ' + ' '.join(str(i / 2) for i in range(degree)) +
            '\namplitudes = ' + ' | '.join(' '.join(str(k - i) for k in range(degree)) for i in range(degree)) + '\n')

# ---------------------------------------------------------------- plans


def plan(name, data, setup='00\n'):
    write('plan', name, data, setup)


known = '{"schema":"quell.excite/1","kind":"sweep","axis":"x","start_hz":12,"end_hz":115,"rate_hz_per_s":2.5'
sweep = known + ',"acceleration_mps2":4.5,"duration_s":44.2,"peak_speed_mps":0.06,"travel_mm":0,"start_time_s":11,"segments":[{"a":1}],"moves":[]}\n'
plan('sweep', sweep)
plan('sweep-pieces', sweep, '30\n')
plan('source-fails', sweep, '33\n')
plan('unknown-values', known + ',"acceleration_mps2":null,"duration_s":null}')
plan('stops', '{"schema":"quell.excite/1","kind":"stops","axis":"y","duration_s":60}')
plan('random', '{"schema":"quell.excite/1","kind":"random","axis":null}')
plan('ambient', '{"schema":"quell.excite/1","kind":"ambient"}')
plan('no-rate', '{"schema":"quell.excite/1","kind":"sweep","start_hz":12,"end_hz":115}')
plan('falls', known.replace('"start_hz":12', '"start_hz":120') + '}')
plan('too-large', known + ',"acceleration_mps2":1e308}')
plan('text-number', known.replace('115', '"115"') + '}')
plan('repeated-key', known + ',"kind":"stops"}')
plan('control', '{"schema":"quell.excite/1","kind":"stops","axis":"\\u001b[2J"}')
plan('nul', '{"schema":"quell.excite/1\\u0000","kind":"stops"}')
plan('latin1', '{"schema":"B\xe4nk"}'.encode('latin-1'))
plan('long-text', '{"schema":"quell.excite/1","kind":"' + 'stop' * 80 + '"}')
plan('long-escaped', '{"schema":"quell.excite/1","kind":"' + '\\u0001' * 60 + '"}')
plan('list', '[1,\n2')
plan('deep', '[' * 3000)
numbers = '"acceleration_mps2":4,"before_s":3,"start_time_s":12,"duration_s":2,'
moves = '{"schema":"quell.excite/1","kind":"%s","axis":"%s",' + numbers + '"moves":{"to_mm":%s,"speed_mps":%s,"rest_s":%s}}'
plan('moves', moves % ('stops', 'x+y', '[60,0,60.0125]', '[0.2,0.158,0.05]', '[0.5,0,3]'))
plan('moves-joined', moves % ('random', 'y', '[1,2,3,-4]', '[0.2,0.1,0.3,1000]', '[0,0,0,0]'))
plan('moves-short', moves % ('stops', 'x', '[1,2]', '[1]', '[0,0]'))
plan('moves-nowhere', moves % ('stops', 'x', '[0,0]', '[1,1]', '[0,0]'))
plan('moves-endless', moves % ('stops', 'x', '[1e5]', '[1e-308]', '[0]'))
plan('random-range', '{"schema":"quell.excite/1","kind":"random","axis":"x-y","start_hz":8,"end_hz":80}')
plan('words', 'sweep:12Hz:115Hz:2.5Hz/s:4500 mm/s2')
plan('words-unknown', 'sweep:12:115:2.5')

# ---------------------------------------------------------------- saved modes


def saved(name, data, setup='00\n'):
    write('saved', name, data, setup)


head = '{"schema":"quell.modes/1","axis":"x","excitation":"a sweep","modes":['
mode = ('{"frequency_hz":47.3,"frequency_ci95_hz":[47.2,47.4],"damping_ratio":0.046,"damping_ratio_ci95":[0.045,0.047],"participation":1,'
        '"participation_ci95":[0.98,1.02],"direction":[1,0,0],"doubts":["moves with speed"]}')
saved('one', head + mode + ']}\n')
saved('pieces', head + mode + ',' + mode + ']}\n', '30\n')
saved('source-fails', head + mode + ']}', '33\n')
saved('none', head + ']}')
saved('unknown', head + '{"frequency_hz":47,"frequency_ci95_hz":null,"damping_ratio":0,"participation":null,"direction":null}]}')
saved('nine', head + ','.join([mode] * 9) + ']}')
saved('negative', head + mode.replace('47.3', '-47.3') + ']}')
saved('outside', head + mode.replace('47.2', '47.35') + ']}')
saved('damping-1', head + mode.replace('0.046', '1') + ']}')
saved('no-interval', head + mode.replace('[0.98,1.02]', '[]') + ']}')
saved('direction', head + mode.replace('[1,0,0]', '[1,1,1e308]') + ']}')
saved('doubts', head + mode.replace('"moves with speed"', ','.join(['"\\u0007"'] * 9)) + ']}')
saved('long-doubt', head + mode.replace('moves with speed', 'm' * 3000) + ']}')
saved('schema', '{"schema":"quell.choose/1","modes":[]}')
saved('deep', '[' * 3000)
# ---------------------------------------------------------------- proofs of tailored shapers


def proof(name, data, setup='00\n'):
    write('proof', name, data if isinstance(data, (str, bytes)) else json.dumps(data, separators=(',', ':')), setup)


def one_band(**certificate):
    """What `quell tailor --band 45:50:0.03:0.06 --residual-limit 10% --json` wrote, less what --verify does not read."""
    atoms = [{'mode': 1, 'frequency_hz': 45.0, 'damping_ratio': 0.03, 'angle_rad': -0.146164028158607, 'weight': 0.64759406812494},
             {'mode': 1, 'frequency_hz': 45.0, 'damping_ratio': 0.06, 'angle_rad': 0.264077111569785, 'weight': 0.35240593187506}]
    return {'schema': 'quell.tailor/1',
            'bands': [{'low_hz': 45.0, 'high_hz': 50.0, 'damping_ratio_low': 0.03, 'damping_ratio_high': 0.06}],
            'certificate': {'duration_s': 0.0103716700610781, 'bound': 0.101319352729424, 'residual_limit': 0.1, 'weights': None,
                            'atoms': atoms, **certificate},
            'shaper': {'amplitudes': [0.52960524879178, 0.47039475120822], 'times_s': [0.0, 0.0103819481897859]}}


def costly(duration_s, hz, limit, count=64):
    """As much work as a check can be asked for: many atoms of high frequency over a long time."""
    made = one_band(duration_s=duration_s, residual_limit=limit, bound=0.5)
    made['bands'][0].update(low_hz=hz, high_hz=hz, damping_ratio_low=0, damping_ratio_high=0)
    made['certificate']['atoms'] = [{'mode': 1, 'frequency_hz': hz, 'damping_ratio': 0, 'angle_rad': 0, 'weight': 1 / count}] * count
    made['shaper'] = {'amplitudes': [0.5, 0.5], 'times_s': [0, 0.5 / hz]}
    return made


proof('one-band', one_band())
proof('one-band-pieces', one_band(), '50\n')
proof('source-fails', one_band(), '35\n')
proof('weights', {**one_band(weights=[1])})
proof('weights-too-many', one_band(weights=[0.5, 0.5]))
proof('shorter', one_band(duration_s=0.0101))
proof('longer', one_band(duration_s=0.0105))
proof('no-atoms', one_band(atoms=[]))
proof('limit-zero', one_band(residual_limit=0))
proof('atom-elsewhere', one_band(atoms=[{'mode': 1, 'frequency_hz': 55, 'damping_ratio': 0.03, 'angle_rad': 0, 'weight': 1}]))
proof('atom-of-no-band', one_band(atoms=[{'mode': 8, 'frequency_hz': 45, 'damping_ratio': 0.03, 'angle_rad': 0, 'weight': 1}]))
proof('other-schema', {**one_band(), 'schema': 'quell.choose/1'})
proof('times-fall', {**one_band(), 'shaper': {'amplitudes': [0.5, 0.5], 'times_s': [0, 0]}})
proof('amplitude-negative', {**one_band(), 'shaper': {'amplitudes': [1.5, -0.5], 'times_s': [0, 0.01]}})
proof('many-impulses', {**one_band(), 'shaper': {'amplitudes': [1 / 128] * 128, 'times_s': [i / 1000 for i in range(128)]}})
proof('costly', costly(1e4, 1e4, 1e-3))
proof('costly-but-possible', costly(0.5, 1e4, 1e-3))
proof('nan', json.dumps(one_band(duration_s=math.nan)))
proof('cut', json.dumps(one_band())[:300])
proof('null', {k: None for k in one_band()})
