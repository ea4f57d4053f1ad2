"""Pixels that no camera writes are refused after decoding."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, intact, open_frame
from qc.decode.decoded import Decoded
from qc.decode.with_flashraw import WithFlashraw, installed
from qc.decode.with_rawpy import WithRawpy
from qc.errors import CaptureError, DamagedError
from qc.rehearse.dng import encode_dng

DECODERS = ["rawpy", *(["flashraw"] if installed() else [])]


@pytest.fixture(autouse=True)
def _fresh() -> None:
    intact.forget()


def noise(seed: int = 0, rows: int = 512, columns: int = 768) -> NDArray[np.uint16]:
    light = np.random.default_rng(seed).normal(3000, 40, (rows, columns))
    return np.clip(light, 0, 16383).astype(np.uint16)


def decoded(mosaic: NDArray[np.uint16], *, black: float = 512.0, white: float = 16383.0) -> Decoded:
    return Decoded(
        kind="mosaic",
        data=mosaic,
        visible=(0, 0, *mosaic.shape),
        cfa=BAYER["RGGB"],
        colours="RGB",
        black=np.full((2, 2), black),
        white=white,
    )


def check(mosaic: NDArray[np.uint16], content: str = "a", *, compressed: bool = True, black: float = 512.0) -> int:
    return len(intact.check(decoded(mosaic, black=black), "x.dng", content, compressed=compressed))


def test_real_noise_passes() -> None:
    assert check(noise()) == 0


@pytest.mark.parametrize("value", [0, 512, 9000])
def test_a_constant_frame_is_damaged(value: int) -> None:
    with pytest.raises(DamagedError, match="every photosite reads"):
        check(np.full((512, 768), value, np.uint16))


def test_a_frame_burnt_all_over_is_not() -> None:
    assert check(np.full((512, 768), 16383, np.uint16)) == 0


def test_blocks_of_zeros_are_damaged() -> None:
    mosaic = noise()
    mosaic[256:, 384:] = 0
    with pytest.raises(DamagedError, match="25 % of the picture holds nothing but zeros"):
        check(mosaic)


def test_rows_of_zeros_are_damaged_also_where_black_is_zero() -> None:
    mosaic = noise()
    mosaic[384:] = 0
    with pytest.raises(DamagedError, match="zeros"):
        check(mosaic, black=0.0)


def test_honest_darkness_where_black_is_zero_passes() -> None:
    mosaic = np.random.default_rng(0).poisson(0.02, (512, 768)).astype(np.uint16)
    assert check(mosaic, black=0.0) == 0
    mosaic = noise()
    mosaic[100:300, 100:400] = 0
    assert check(mosaic, black=0.0) == 0


def test_values_above_what_the_bits_hold_are_damaged() -> None:
    mosaic = noise()
    mosaic[40, 40:72] = 60000
    with pytest.raises(DamagedError, match="32 values lie above 16383"):
        check(mosaic)


def test_values_between_the_tag_and_the_bits_are_normal() -> None:
    mosaic = noise()
    mosaic[40, 40:72] = 16383
    assert intact.check(decoded(mosaic, white=15000.0), "x.dng", "a", compressed=True) == ()


def test_a_tag_that_half_the_frame_exceeds_is_itself_wrong() -> None:
    found = intact.check(decoded(noise(), white=1023.0), "x.dng", "a", compressed=True)
    assert [f.code for f in found] == ["above_white"]


def test_pixels_of_the_capture_before_are_damaged() -> None:
    first, second = noise(1), noise(2)
    check(first, "a")
    second[256:] = first[256:]
    with pytest.raises(DamagedError, match="50 % of the picture is the capture before it"):
        check(second, "b")


def test_the_same_file_twice_and_a_copy_with_other_tags_pass() -> None:
    assert check(noise(1), "a") == check(noise(1), "a") == check(noise(1), "b") == 0


def test_repeats_in_uncompressed_files_pass() -> None:
    first, second = noise(1), noise(2)
    check(first, "a", compressed=False)
    second[256:] = first[256:]
    assert check(second, "b", compressed=False) == 0


def test_even_white_in_both_frames_is_no_leftover() -> None:
    first, second = noise(1), noise(2)
    first[256:] = second[256:] = 16383
    assert check(first, "a") == check(second, "b") == 0


def stale(mosaic: NDArray[np.uint16]) -> bytes:
    """A tiled lossless-JPEG DNG whose later tiles are zero bytes, as a preallocating copy leaves it."""
    data = bytearray(encode_dng(mosaic, white=16383, black=512.0, compression="ljpeg", tile=(256, 256)))
    data[len(data) // 2 :] = bytes(len(data) - len(data) // 2)
    return bytes(data)


@pytest.mark.parametrize("decoder", DECODERS)
def test_a_tail_of_zero_bytes_never_opens(decoder: str, tmp_path: Path) -> None:
    (tmp_path / "before.dng").write_bytes(encode_dng(noise(1), white=16383, black=512.0, compression="ljpeg"))
    (tmp_path / "stale.dng").write_bytes(stale(noise(2)))
    assert open_frame(tmp_path / "before.dng", decoder=decoder).kind == "mosaic"
    with pytest.raises(CaptureError) as caught:
        open_frame(tmp_path / "stale.dng", decoder=decoder)
    assert caught.value.state in ("damaged", "truncated")


@pytest.mark.parametrize("decoder", [WithRawpy(), *([WithFlashraw()] if installed() else [])])
def test_a_stale_tile_is_refused_even_when_the_container_was_not_asked(decoder: WithRawpy | WithFlashraw) -> None:
    before = encode_dng(noise(1), white=16383, black=512.0, compression="ljpeg", tile=(256, 256))
    first = decoder.read(before, "a.dng")
    intact.check(first, "a.dng", "a", compressed=True)

    def decode() -> None:
        second = decoder.read(stale(noise(2)), "b.dng")
        intact.check(second, "b.dng", "b", compressed=True)

    with pytest.raises(CaptureError) as caught:
        decode()
    assert caught.value.state in ("damaged", "truncated")
