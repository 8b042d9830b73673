"""Random streams. Oracle: NumPy's own SeedSequence and the definition of CRC-32 (zlib)."""

from __future__ import annotations

import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from refracmc.sampling import streams
from refracmc.sampling.streams import BLOCK_SIZE, block_sizes, check_keys, generator, key32, open_uniforms


def test_stream_is_the_stated_seed_sequence() -> None:
    key = (key32("response.uplift"), key32("A-1"), 7)
    expected = np.random.Generator(np.random.PCG64(np.random.SeedSequence(42, spawn_key=key))).random(5)
    assert np.array_equal(generator(42, "response.uplift", "A-1", 7).random(5), expected)


def test_key32_is_crc32() -> None:
    assert key32("123456789") == 0xCBF43926  # the check value of CRC-32 (ISO-HDLC), memory


def test_same_bytes_for_any_block_order() -> None:
    forward = {b: generator(5, "opex.fixed", "", b).random(BLOCK_SIZE).tobytes() for b in range(20)}
    backward = {
        b: generator(5, "opex.fixed", "", b).random(BLOCK_SIZE).tobytes() for b in reversed(range(20))
    }
    assert forward == backward
    assert len(set(forward.values())) == 20


def test_same_bytes_in_another_process() -> None:
    draw = "print(generator(9, 'job.close_chance', 'W', 3).random(4).tolist())"
    code = f"from refracmc.sampling.streams import generator; {draw}"
    root = Path(streams.__file__).parents[2]
    out = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert out.stdout.strip() == str(generator(9, "job.close_chance", "W", 3).random(4).tolist())


@pytest.mark.parametrize(
    "other", [(2, "a", "w", 0), (1, "b", "w", 0), (1, "a", "v", 0), (1, "a", "w", 1), (1, "a", "", 0)]
)
def test_every_part_of_the_name_matters(other: tuple[int, str, str, int]) -> None:
    assert not np.array_equal(generator(1, "a", "w", 0).random(8), generator(*other).random(8))


def test_variable_and_scope_do_not_trade_places() -> None:
    assert not np.array_equal(generator(1, "a", "b", 0).random(8), generator(1, "b", "a", 0).random(8))


def test_neighbouring_blocks_are_uncorrelated() -> None:
    """|r| of 512 pairs has standard error 1/sqrt(511): 199 stay below 4.5 of them; equal blocks do not."""
    blocks = np.stack([generator(1, "a", "", b).random(BLOCK_SIZE) for b in range(200)])
    r = [np.corrcoef(x, y)[0, 1] for x, y in pairwise(blocks)]
    limit = 4.5 / np.sqrt(BLOCK_SIZE - 1)
    assert np.max(np.abs(r)) < limit
    assert np.corrcoef(blocks[0], generator(1, "a", "", 0).random(BLOCK_SIZE))[0, 1] > limit


@pytest.mark.parametrize("seed", [-1, 2**128, True])
def test_seed_outside_its_range(seed: int) -> None:
    with pytest.raises(ValueError, match="seed: found"):
        generator(seed, "a", "", 0)


def test_other_ranges() -> None:
    with pytest.raises(ValueError, match="block: found -1"):
        generator(1, "a", "", -1)
    with pytest.raises(ValueError, match="variable: found an empty name"):
        generator(1, "", "", 0)
    assert generator(0, "a", "", 0).random() != generator(2**128 - 1, "a", "", 0).random()


def test_colliding_names_are_refused() -> None:
    """'plumless' and 'buckeroo' share a CRC-32: a pair widely quoted for it (memory, verified here)."""
    assert key32("plumless") == key32("buckeroo")
    with pytest.raises(ValueError, match=r"plumless.*buckeroo"):
        check_keys(["a", "plumless", "b", "buckeroo"])
    check_keys(["a", "b", "a"])


def test_uniforms_are_open_at_both_ends() -> None:
    class Ends(np.random.Generator):
        def random(self, *_: object, **__: object) -> np.ndarray:  # type: ignore[override]
            return np.array([0.0, 1.0 - 2.0**-53])

    u = open_uniforms(Ends(np.random.PCG64(1)), 2)
    assert 0.0 < u[0] < u[1] < 1.0


@pytest.mark.parametrize(
    ("trials", "sizes"),
    [(1, (1,)), (512, (512,)), (513, (512, 1)), (1300, (512, 512, 276)), (1024, (512, 512))],
)
def test_block_sizes(trials: int, sizes: tuple[int, ...]) -> None:
    assert block_sizes(trials) == sizes


def test_no_trials_refused() -> None:
    with pytest.raises(ValueError, match="trials: found 0"):
        block_sizes(0)
