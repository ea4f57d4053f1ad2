"""Blur and MTF50 against the slanted-edge analysis of ISO 12233, written here from its published steps.

Source: ISO 12233:2014 annex D (e-SFR): line spread by the filter [−½, 0, ½] along each row, its centroid, a
straight line through the centroids, all pixels projected along it into four bins a pixel, the same filter, a
Hamming window, |DFT| over its value at 0, the loss of the filter divided out (at most tenfold). The steps were
read in an extract of the standard and in descriptions of it, not in the standard itself. The MTF50 of a Gaussian,
√(ln 2 / 2)/(πσ) = 0.187391/σ cycles/px, is the transform of a Gaussian and needs no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import erf

from qc.measure import sharpness
from qc.measure.sharpness.readings import mtf50
from qc.sheet.brief import Brief
from tests.measure import sharpness_scene as scene

BINS = 4
GAUSSIAN_MTF50 = np.sqrt(np.log(2) / 2) / np.pi


def slanted_edge_mtf50(picture: scene.Light) -> float:
    """Return the MTF50 in cycles/px of a picture with one near-vertical edge in it."""
    rows, columns = picture.shape
    spread = np.abs(picture[:, 2:] - picture[:, :-2]) / 2
    x, y = np.arange(1, columns - 1), np.arange(rows)
    centroid = (spread * np.hamming(columns - 2)) @ x / (spread * np.hamming(columns - 2)).sum(axis=1)
    for _ in range(2):
        slope, start = np.polyfit(y, centroid, 1)
        near = np.abs(x[np.newaxis] - (slope * y + start)[:, np.newaxis]) < 12
        centroid = (spread * near) @ x / (spread * near).sum(axis=1)
    slope, start = np.polyfit(y, centroid, 1)
    distance = np.arange(columns)[np.newaxis] - (slope * y + start)[:, np.newaxis]
    place = np.floor(distance * BINS).astype(int).ravel()
    reach = 52 * BINS  # wide against any spread here: the window must not narrow it
    inside = np.abs(place) < reach
    count = np.bincount(place[inside] + reach, minlength=2 * reach)[1:]
    edge = np.bincount(place[inside] + reach, weights=picture.ravel()[inside], minlength=2 * reach)[1:] / count
    line = np.zeros_like(edge)
    line[1:-1] = (edge[2:] - edge[:-2]) / 2
    line *= np.hamming(len(line))
    transfer = np.abs(np.fft.rfft(line, 16 * len(line)))
    frequency = np.fft.rfftfreq(16 * len(line)) * BINS
    loss = np.maximum(np.sinc(2 * frequency / BINS), 0.1)
    transfer = transfer / transfer[0] / loss
    at = int(np.argmax(transfer < 0.5))
    left, right = transfer[at - 1], transfer[at]
    return float(frequency[at - 1] + (left - 0.5) / (left - right) * (frequency[at] - frequency[at - 1]))


@pytest.mark.parametrize("angle", [4.0, 7.0])
@pytest.mark.parametrize("sigma", [0.6, 0.8, 1.0, 1.5, 2.0, 3.0])
def test_slanted_edge_analysis_finds_the_mtf50_of_a_gaussian_edge(sigma: float, angle: float) -> None:
    # sampled at points, not through a pixel aperture: the edge itself is the Gaussian's integral
    k = np.arange(144) - 72.0
    turn = np.deg2rad(angle)
    distance = k[np.newaxis] * np.cos(turn) + k[:, np.newaxis] * np.sin(turn) - 0.3
    picture = 0.1 + 0.6 * 0.5 * (1 + erf(distance / (np.sqrt(2) * sigma)))
    along_normal = slanted_edge_mtf50(picture) / np.cos(turn)
    assert along_normal == pytest.approx(GAUSSIAN_MTF50 / sigma, rel=0.015)


@pytest.mark.parametrize("sigma", [0.6, 0.8, 1.0, 1.5, 2.0, 3.0])
def test_mtf50_of_a_frame_agrees_with_the_slanted_edge_analysis_of_the_same_light(sigma: float) -> None:
    light = scene.edge(144, 5.0, sigma, 0.1, 0.6, shift=0.2)
    frame = scene.expose(light, seed=1)
    found = sharpness.measure(frame, zones=(), brief=Brief())
    ours = next(r for r in found.readings if r.name == "sharpness.mtf50")
    theirs = slanted_edge_mtf50(light) / np.cos(np.deg2rad(5.0))
    assert ours.value == pytest.approx(min(theirs, 0.5), rel=0.03)


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.0, 3.0])
def test_mtf50_of_a_blur_is_that_of_a_gaussian_and_a_pixel_aperture(sigma: float) -> None:
    found = mtf50(sigma)
    left = np.exp(-2 * (np.pi * sigma * found) ** 2) * np.sinc(found)
    assert left == pytest.approx(0.5, abs=1e-9)
    # to the second order the aperture is a Gaussian of 1/12 px²
    assert found == pytest.approx(GAUSSIAN_MTF50 / np.hypot(sigma, np.sqrt(1 / 12)), rel=0.01)


def test_mtf50_stops_at_the_sampling_limit() -> None:
    # a pixel aperture alone has its MTF50 at 0.603 cycles/px
    assert mtf50(0.0) == 0.5
