"""The Reed-Solomon kernels with the compiler switched off, and what they leave alone."""

import os
import subprocess
import sys

import numpy as np
from tapewright.codecs.layers.batch_correction import BatchCorrector
from tapewright.codecs.layers.symbol_code import symbol_code

IN_PYTHON = """
import numpy as np
from tapewright.codecs.layers.batch_correction import BatchCorrector
from tapewright.codecs.layers.symbol_code import symbol_code

rng = np.random.default_rng(61)
for parity, first_root in ((3, 0), (10, 112)):
    code = symbol_code(0x187, 173, first_root, parity)
    data = rng.integers(0, 256, (12, 20), dtype=np.uint8)
    words = np.concatenate([data, code.parity(data)], axis=1)
    order = np.argsort(rng.random(words.shape), axis=1)
    erasures = rng.integers(0, parity + 2, (12, 1))
    hit = order < erasures + rng.integers(0, parity // 2 + 2, (12, 1))
    words[hit] = rng.integers(0, 256, int(hit.sum()))
    found = BatchCorrector(code).corrected(words, order < erasures)
    print(found.words.tobytes().hex(), found.sound.tolist(), found.errors.tolist())
"""


def test_plain_python_and_compiled_code_give_the_same_words(capsys):
    call = [sys.executable, "-W", "error::RuntimeWarning", "-c", IN_PYTHON]
    without = {**os.environ, "NUMBA_DISABLE_JIT": "1"}
    plain = subprocess.run(call, env=without, capture_output=True, text=True, check=True).stdout
    assert "True" in plain
    assert "False" in plain
    exec(compile(IN_PYTHON, "compiled", "exec"), {})
    assert plain == capsys.readouterr().out


def test_what_is_given_stays_as_it_is_and_no_word_is_no_trouble():
    corrector = BatchCorrector(symbol_code(0x11D, 2, 0, 4))
    words = np.random.default_rng(62).integers(0, 256, (50, 32), dtype=np.uint8)
    kept, erased = words.copy(), np.zeros(words.shape, bool)
    corrector.corrected(words, erased)
    corrector.corrected(words[::2, ::-1], erased[::2])
    assert np.array_equal(words, kept)
    assert corrector.corrected(words[:0], erased[:0]).sound.shape == (0,)
    assert corrector.are_codewords(np.zeros((3, 32), np.uint8)).all()
