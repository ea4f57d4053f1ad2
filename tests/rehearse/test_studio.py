"""What the studio says of its frames is true, and settings behave as they do on a set."""

from __future__ import annotations

from pathlib import Path

import exifread
import numpy as np
import pytest
from numpy.typing import NDArray

from qc.errors import UsageError
from qc.orientation import upright
from qc.rehearse.scene import NEUTRAL_CARD
from qc.rehearse.sensor import Sensor
from qc.rehearse.studio import ALL_HEADS, Studio
from qc.sheet.zones import Role, Zone

ROOM = {"lamp": 1.0, "window": 0.5}
SIZE = (320, 480)


@pytest.fixture(scope="module")
def studio() -> Studio:
    return Studio(size=SIZE)


def light(studio: Studio, **how: object) -> NDArray[np.float32]:
    return studio.frame(**how).truth.light  # type: ignore[arg-type]  # as frame takes them


def test_light_of_heads_and_room_adds_up(studio: Studio) -> None:
    whole = light(studio, room=ROOM)
    parts = [light(studio, heads={name: 1.0}) for name in ALL_HEADS]
    parts += [light(studio, heads={}, room={name: power}) for name, power in ROOM.items()]
    np.testing.assert_allclose(np.sum(parts, axis=0), whole, rtol=2e-5, atol=2e-6)


def test_truth_keeps_flash_and_room_apart(studio: Studio) -> None:
    truth = studio.frame(room=ROOM).truth
    np.testing.assert_allclose(truth.flash, light(studio), rtol=2e-5, atol=1e-6)
    np.testing.assert_allclose(truth.room, light(studio, heads={}, room=ROOM), rtol=2e-5, atol=1e-6)


def test_doubling_the_shutter_time_lifts_the_room_one_stop_and_leaves_the_flash(studio: Studio) -> None:
    short = studio.frame(room=ROOM, shutter_s=1 / 125).truth
    long = studio.frame(room=ROOM, shutter_s=2 / 125).truth
    np.testing.assert_allclose(long.room, 2 * short.room, rtol=1e-5, atol=1e-7)
    np.testing.assert_allclose(long.flash, short.flash, rtol=1e-5, atol=1e-7)
    assert short.stops_under() - long.stops_under() == pytest.approx(1, abs=0.002)


def test_iso_lifts_all_light_alike_and_its_noise_with_it(studio: Studio) -> None:
    low, high = (studio.frame(room=ROOM, iso=iso) for iso in (100, 200))
    np.testing.assert_allclose(high.truth.light, 2 * low.truth.light, rtol=1e-5)
    assert high.sensor.gain == 2 * low.sensor.gain


def test_a_wider_aperture_lifts_the_mean_by_its_square(studio: Studio) -> None:
    wide, narrow = (light(studio, room=ROOM, aperture=aperture).mean() for aperture in (8.0, 16.0))
    assert wide / narrow == pytest.approx(4, rel=1e-3)


def test_stops_under_is_the_ratio_of_the_sums(studio: Studio) -> None:
    truth = studio.frame(room=ROOM).truth
    usable = np.kron(truth.clipped().sum(axis=0) == 0, np.ones((2, 2))).astype(bool)
    red = np.zeros(SIZE, dtype=bool)
    red[::2, ::2] = True
    expected = np.log2(truth.flash[red & usable].sum() / truth.room[red & usable].sum())
    assert truth.stops_under(colour="R") == pytest.approx(expected, abs=1e-4)
    assert truth.to_flash(colour="R") == pytest.approx(100 / 2**expected, rel=1e-4)


@pytest.mark.parametrize("wanted", [3.0, 5.0, 7.0])
def test_the_room_can_be_set_to_a_stated_level(studio: Studio, wanted: float) -> None:
    room = studio.room_at(wanted, ROOM)
    assert studio.frame(room=room).truth.stops_under() == pytest.approx(wanted, abs=0.002)
    zone = studio.zone("grey card")
    room = studio.room_at(wanted, ROOM, zone=zone)
    assert studio.frame(room=room).truth.stops_under(zone) == pytest.approx(wanted, abs=0.002)


def test_the_lamp_lights_the_right_half_and_is_warm(studio: Studio) -> None:
    truth = studio.frame(heads={}, room={"lamp": 1.0}).truth
    red, _, blue = truth.cells(truth.room)
    half = red.shape[1] // 2
    assert red[:, half:].sum() > 8 * red[:, :half].sum()
    flash_red, _, flash_blue = studio.frame().truth.cells(studio.frame().truth.flash)
    assert red.sum() / blue.sum() > 2 * flash_red.sum() / flash_blue.sum()


def test_clipped_and_burnt_area_are_counted_on_light_without_noise(studio: Studio) -> None:
    truth = studio.frame(aperture=4.0).truth
    level = (truth.sensor.white - truth.sensor.black) / (truth.sensor.white - truth.sensor.black)
    over = truth.light >= level
    quads = over[: SIZE[0], : SIZE[1]].reshape(SIZE[0] // 2, 2, SIZE[1] // 2, 2).swapaxes(1, 2)
    assert truth.clipped_area() == pytest.approx(100 * quads.any(axis=(2, 3)).mean())
    red, blue, green = quads[..., 0, 0], quads[..., 1, 1], quads[..., 0, 1] | quads[..., 1, 0]
    assert truth.burnt_area() == pytest.approx(100 * (red & green & blue).mean())
    assert truth.clipped_area() > truth.burnt_area() > 0


def test_a_lower_saturation_clips_more(studio: Studio) -> None:
    early = Studio(size=SIZE, sensor=Sensor(saturation=0.8 * 16383))
    assert early.frame(aperture=8.0).truth.clipped_area() > studio.frame(aperture=8.0).truth.clipped_area()


def test_the_neutral_card_is_neutral_under_the_flash(studio: Studio) -> None:
    lab = studio.frame().truth.lab(studio.zone("grey card"))
    np.testing.assert_allclose(lab, NEUTRAL_CARD, atol=0.05)


def test_a_planted_cast_is_what_the_card_shows() -> None:
    planted = Studio(size=SIZE, card_lab=(50, 2, -3))
    lab = planted.frame(aperture=16.0).truth.lab(planted.zone("grey card"))
    np.testing.assert_allclose(lab, (50, 2, -3), atol=0.1)


def test_the_label_is_sharp_where_focus_belongs_and_soft_when_it_moves_back(studio: Studio) -> None:
    label = studio.zone("seal")
    sharp, soft = studio.frame().truth, studio.frame(focus=60.0, aperture=5.6).truth
    assert sharp.blur(label) == pytest.approx(studio.lens.floor(aperture=11, columns=SIZE[1]), rel=0.05)
    assert soft.blur(label) > 1.5 * sharp.blur(label)


def test_the_same_seed_gives_the_same_counts_and_another_noise_other_ones(studio: Studio) -> None:
    first = studio.frame().mosaic
    np.testing.assert_array_equal(first, Studio(size=SIZE).frame().mosaic)
    other = studio.frame(noise=1)
    assert (other.mosaic != first).mean() > 0.5
    np.testing.assert_array_equal(other.truth.light, studio.frame().truth.light)
    assert (Studio(size=SIZE, seed=2).frame().truth.light != studio.frame().truth.light).any()


def test_counts_scatter_about_the_truth_as_the_sensor_says(studio: Studio) -> None:
    shot = studio.frame()
    signal = shot.truth.light * (shot.sensor.white - shot.sensor.black)
    dim = signal < 0.9 * (shot.sensor.white - shot.sensor.black)
    error = (shot.mosaic - shot.sensor.black - signal)[dim]
    expected = np.sqrt(shot.sensor.gain * signal[dim] + shot.sensor.read_noise**2 + 1 / 12)
    assert (error / expected).std() == pytest.approx(1, abs=0.02)
    assert (error / expected).mean() == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_camera_sees_the_same_upright_picture(studio: Studio, orientation: int) -> None:
    turned = Studio(size=SIZE, orientation=orientation).frame().truth
    straight = studio.frame().truth
    green = upright(turned.cells(turned.light)[1], orientation)
    assert np.corrcoef(green.ravel(), straight.cells(straight.light)[1].ravel())[0, 1] > 0.995
    zone = Zone.from_box("left", Role.WITNESS, (0.0, 0.5, 0.4, 0.5))
    room = {"lamp": 1.0, "window": 1.0}
    shots = [studio.frame(room=room), Studio(size=SIZE, orientation=orientation).frame(room=room)]
    values = [shot.truth.stops_under(zone) for shot in shots]
    assert values[0] == pytest.approx(values[1], abs=0.02)


def test_a_written_frame_reads_back_with_its_settings(studio: Studio, tmp_path: Path) -> None:
    shot = studio.frame(shutter_s=1 / 160, aperture=8.0, iso=200)
    with shot.write(tmp_path / "R_0001.dng").open("rb") as file:
        tags = exifread.process_file(file, details=False)
    assert [str(tags[f"EXIF {name}"]) for name in ("ExposureTime", "FNumber", "ISOSpeedRatings")] == [
        "1/160",
        "8",
        "200",
    ]


def test_a_frame_in_memory_is_the_frame_from_the_file(tmp_path: Path) -> None:
    from qc.decode import open_frame

    studio = Studio(
        size=SIZE, orientation=6, sensor=Sensor(black=509.0, tagged_black=512.0, margins=(0, 32, 0, 0))
    )
    shot = studio.frame()
    read, made = open_frame(shot.write(tmp_path / "R_0001.dng")), shot.frame()
    np.testing.assert_array_equal(read.cells, made.cells)
    np.testing.assert_array_equal(read.clip, made.clip)
    assert read.orientation == made.orientation == 6
    assert read.upright_size == (SIZE[1], SIZE[0])
    assert read.black == made.black
    assert read.camera.shutter_s == pytest.approx(1 / 125)
    assert read.colour.neutral == pytest.approx(made.colour.neutral, abs=1e-4)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"heads": {"ring": 1.0}}, "no ring"),
        ({"room": {"key": 1.0}}, "no key"),
        ({"iso": 0}, "above 0"),
        ({"heads": {"key": -1.0}}, "no power"),
    ],
)
def test_what_cannot_be_photographed_is_refused(studio: Studio, how: dict[str, object], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        studio.frame(**how)  # type: ignore[arg-type]  # wrong on purpose


def test_without_room_light_there_are_no_stops_under(studio: Studio) -> None:
    with pytest.raises(UsageError, match="both"):
        studio.frame().truth.stops_under()


def test_every_zone_lies_in_the_picture_and_has_its_own_name(studio: Studio) -> None:
    names = [zone.name for zone in studio.zones]
    assert len(set(names)) == len(names)
    for zone in studio.zones:
        points = np.array(zone.points)
        assert points.min() >= 0
        assert points.max() <= 1 + 1e-9
