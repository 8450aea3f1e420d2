"""The samples of WAV files as scipy reads them, for tests/external/test_ingest_sound_scipy.c.

Each line on stdin names a file. Answer: a line "rate channels frames" and one line a sample, frame by frame, integers
as shares of full scale; or the line "refused".
"""

import sys
import warnings

import numpy
from scipy.io import wavfile

warnings.simplefilter("ignore")
for line in sys.stdin:
    try:
        rate, samples = wavfile.read(line.rstrip("\n"))
    except ValueError:
        print("refused")
        continue
    if samples.ndim == 1:
        samples = samples[:, numpy.newaxis]
    values = samples.astype(float)
    if samples.dtype == numpy.uint8:
        values = (values - 128) / 128
    elif samples.dtype.kind == "i":
        values = values / 2.0 ** (8 * samples.dtype.itemsize - 1)
    print(rate, samples.shape[1], samples.shape[0])
    for value in values.ravel():
        print(repr(float(value)))
