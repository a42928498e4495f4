"""The catalogue of checks against its published check values and against second implementations."""

import binascii
import zlib

import crcmod
import numpy as np
import pytest
from tapewright.codecs.layers.cyclic_redundancy import ALGORITHMS, CyclicRedundancy

every_algorithm = pytest.mark.parametrize("algorithm", ALGORITHMS.values(), ids=ALGORITHMS)


def second_library(algorithm: CyclicRedundancy):
    """crcmod-plus; it wants the initial value with the final XOR already in it."""
    return crcmod.mkCrcFun(
        (1 << algorithm.width) | algorithm.polynomial,
        initCrc=algorithm.initial ^ algorithm.final_xor,
        rev=algorithm.reflected,
        xorOut=algorithm.final_xor,
    )


@every_algorithm
def test_check_value_is_the_catalogues(algorithm):
    # Published check column of the catalogue of parametrised CRC algorithms: the CRC of ASCII "123456789".
    assert algorithm.of(b"123456789") == algorithm.check


@every_algorithm
def test_agrees_with_a_second_library(algorithm):
    other = second_library(algorithm)
    rng = np.random.default_rng(20)
    for length in (0, 1, 2, 3, 7, 64, 300):
        data = rng.bytes(length)
        assert algorithm.of(data) == other(data)


def test_the_three_that_python_computes_itself():
    data = np.random.default_rng(21).bytes(1000)
    assert ALGORITHMS["crc-32-iso-hdlc"].of(data) == zlib.crc32(data)
    assert ALGORITHMS["crc-16-xmodem"].of(data) == binascii.crc_hqx(data, 0)
    assert ALGORITHMS["crc-16-ibm-3740"].of(data) == binascii.crc_hqx(data, 0xFFFF)


# Residues of the same catalogue (from memory, reproduced): data with its check appended, low byte first if reflected.
@pytest.mark.parametrize(
    ("name", "residue"),
    [("crc-16-arc", 0), ("crc-16-ibm-3740", 0), ("crc-32-iso-hdlc", 0x2144DF1C)],
)
def test_residue_of_data_with_its_check(name, residue):
    algorithm = ALGORITHMS[name]
    for length in (0, 1, 9, 200):
        data = np.random.default_rng(length).bytes(length)
        assert algorithm.of(data + algorithm.appended(data)) == residue


@pytest.mark.parametrize("name", ["crc-16-ibm-3740", "crc-32-bzip2"])
def test_unreflected_checks_find_every_burst_as_long_as_themselves(name):
    # Textbook: an r-bit CRC finds all bursts of at most r bits; a CRC is affine, so the error pattern alone decides.
    algorithm = ALGORITHMS[name]
    rng = np.random.default_rng(22)
    clean = bytes(40)
    sent = np.unpackbits(np.frombuffer(clean + algorithm.appended(clean), np.uint8))
    for start in range(sent.size - algorithm.width):
        burst = rng.integers(0, 2, algorithm.width, dtype=np.uint8)
        burst[0] = 1
        damaged = sent.copy()
        damaged[start : start + algorithm.width] ^= burst
        whole = np.packbits(damaged).tobytes()
        assert algorithm.appended(whole[:40]) != whole[40:]


def test_distance_four_ends_where_published():
    # Koopman's tables: 0x1021 has Hamming distance 4 up to 32,751 data bits and 2 beyond; as the code is cyclic of
    # length 32,767, two bits that far apart are not found.
    algorithm = ALGORITHMS["crc-16-ibm-3740"]
    blank = algorithm.of(bytes(4096))

    def change(*bits):
        data = np.zeros(4096 * 8, np.uint8)
        data[list(bits)] = 1
        return algorithm.of(np.packbits(data).tobytes()) ^ blank

    assert change(0, 32_767) == 0
    assert all(change(0, far) != 0 for far in (1, 100, 32_750, 32_766))
