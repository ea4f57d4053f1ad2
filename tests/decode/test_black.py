"""Black from masked photosites, with its uncertainty, against the tag."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.decode.black import black_of
from qc.decode.decoded import Decoded
from qc.frame import Frame
from qc.rehearse.sensor import Sensor

LIGHT = np.full((3, 200, 300), 0.2, dtype=np.float32)


def framed(sensor: Sensor, *, tag: float = 512.0, seed: int = 0, cfa: str = "RGGB") -> Frame:
    pattern = BAYER[cfa]
    readout = sensor.read_out(LIGHT[0], pattern, np.random.default_rng(seed))
    return frame_from_mosaic(
        readout.mosaic, cfa=cfa, black=tag, white=16383.0, masked=readout.masked, visible=readout.visible
    )


def codes(frame: Frame) -> set[str]:
    return {finding.code for finding in frame.findings}


@pytest.mark.parametrize("seed", range(3))
def test_masked_photosites_show_a_black_that_the_tag_misses(seed: int) -> None:
    frame = framed(Sensor(black=515.0, margins=(16, 32, 0, 0)), tag=512.0, seed=seed)
    assert frame.black.source == "masked pixels"
    assert np.abs(frame.black.array() - 515.0).max() < 0.2
    assert 0 < frame.black.uncertainty < 0.3
    assert "black_differs" in codes(frame)


def test_light_does_not_depend_on_a_wrong_tag_when_there_is_a_mask() -> None:
    right, wrong = (framed(Sensor(black=515.0, margins=(16, 32, 0, 0)), tag=tag) for tag in (515.0, 512.0))
    assert np.allclose(right.cells * right.scale, wrong.cells * wrong.scale)


def test_a_tag_without_a_mask_is_uncertain_by_half_a_step() -> None:
    frame = frame_from_mosaic(np.full((20, 20), 600, np.uint16), black=512.0, white=16383.0)
    assert (frame.black.source, frame.black.uncertainty) == ("given", 0.5)


def test_areas_that_disagree_make_black_uncertain() -> None:
    readout = Sensor(black=512.0, margins=(0, 40, 0, 40)).read_out(
        LIGHT[0], BAYER["RGGB"], np.random.default_rng(1)
    )
    mosaic = readout.mosaic.copy()
    mosaic[:, -40:] += 4
    frame = frame_from_mosaic(mosaic, black=512.0, white=16383.0, masked=readout.masked, visible=readout.visible)
    assert frame.black.uncertainty == pytest.approx(2.0, abs=0.1)


def test_a_margin_that_sees_light_is_no_mask() -> None:
    readout = Sensor(margins=(0, 40, 0, 40)).read_out(LIGHT[0], BAYER["RGGB"], np.random.default_rng(1))
    mosaic = readout.mosaic.copy()
    mosaic[:, :40] = 3500
    frame = frame_from_mosaic(mosaic, black=512.0, white=16383.0, masked=readout.masked, visible=readout.visible)
    assert np.abs(frame.black.array() - 512.0).max() < 0.3


def test_black_keeps_the_positions_of_the_visible_pattern() -> None:
    mosaic = np.full((100, 100), 3000, np.uint16)
    mosaic[:, :33] = 500
    mosaic[1::2, 0:33:2] = 540  # even stored columns, odd rows
    frame = frame_from_mosaic(
        mosaic, black=512.0, white=16383.0, masked=((0, 0, 100, 33),), visible=(0, 33, 100, 67), cfa="RGGB"
    )
    # the visible area starts at an odd column: its position (1, 1) is an even stored column
    assert frame.black.levels == ((500.0, 500.0), (500.0, 540.0))


def test_hot_masked_photosites_do_not_move_black() -> None:
    readout = Sensor(margins=(0, 40, 0, 0)).read_out(LIGHT[0], BAYER["RGGB"], np.random.default_rng(1))
    mosaic = readout.mosaic.copy()
    mosaic[10:190:30, 5:35:7] = 16383
    frame = frame_from_mosaic(mosaic, black=512.0, white=16383.0, masked=readout.masked, visible=readout.visible)
    assert np.abs(frame.black.array() - 512.0).max() < 0.2


def bare(data: NDArray[np.uint16], *, tagged: bool) -> Decoded:
    return Decoded(
        kind="mosaic",
        data=data,
        visible=(0, 0, *data.shape),
        cfa=BAYER["RGGB"],
        colours="RGB",
        black=np.zeros((2, 2)),
        black_tagged=tagged,
        white=255.0,
        bits=8,
    )


def test_without_a_tag_black_may_be_anywhere_under_the_darkest_thing() -> None:
    black, _, findings = black_of(bare(np.full((40, 40), 60, np.uint16), tagged=False))
    assert black.source == "none"
    assert black.uncertainty == pytest.approx(60 / np.sqrt(12))  # a uniform distribution of that width
    assert [f.code for f in findings] == ["black_unknown"]


def test_darkness_cut_off_at_zero_is_said() -> None:
    data = np.full((40, 40), 9, np.uint16)
    data[:10] = 0
    _, _, findings = black_of(bare(data, tagged=True))
    assert [f.code for f in findings] == ["black_clipped"]
    assert findings[0].data["share"] == pytest.approx(0.25)
