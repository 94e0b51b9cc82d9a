"""The rendered picture of the virtual head: its window, its rotor, its droplets and its lamp."""

from dataclasses import dataclass
from math import hypot, pi

import numba
import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]

MOST_DROPS = 160
DIRECTIONS = 720
"""In which the marks' brightness is worked out. [1/turn]"""
MARK_HALF_WIDTH = 0.28
"""Half the angle that a rotor mark covers. [rad]"""
LAMP_SHARE = 0.14
"""Width of the sync lamp as a share of the picture's."""


@dataclass(frozen=True, eq=False)
class Scene:
    """What does not move, and where what moves can be."""

    still: NDArray[np.int16]
    """The picture without rotor marks and droplets. [grey level]"""
    ring: NDArray[np.int64]
    """Where the pixels of the ring of the marks lie in the picture, row after row."""
    direction: NDArray[np.int64]
    """Of each of these pixels from the hub, in `DIRECTIONS` a turn."""
    noise: NDArray[np.int16]
    """A tile of noise larger than the picture."""
    drops: Floats
    """Position, size and phase of each droplet, in pixels and turns."""


def build_scene(width: int, height: int, noise: float, rng: np.random.Generator) -> Scene:
    """Build the scene of a virtual head.

    Parameters
    ----------
    width, height : int
        Size of the picture. [pixel]
    noise : float
        Standard deviation of the camera's noise. [grey level]
    rng : Generator
        Draws droplets and noise.

    Returns
    -------
    Scene
        What `render` needs.
    """
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    centre_x, centre_y, radius = 0.5 * width, 0.47 * height, 0.40 * height
    from_centre = np.hypot(x - centre_x, y - centre_y)
    still = 96 + 30 * (y / height) - 12 * np.abs(x / width - 0.5)
    still[from_centre < 1.12 * radius] = 150  # the window's frame
    inside = from_centre < radius
    still[inside] = 48 + 18 * np.cos(pi * from_centre[inside] / radius)
    still[from_centre < 0.16 * radius] = 80  # the hub
    turns = (np.arctan2(y - centre_y, x - centre_x) / (2 * pi)) % 1
    ring = np.flatnonzero((from_centre > 0.42 * radius) & (from_centre < 0.88 * radius))
    direction = (turns.ravel()[ring] * DIRECTIONS).astype(np.int64) % DIRECTIONS
    tile = rng.normal(0, noise, (height + 64, width + 64)).clip(-60, 60).astype(np.int16)
    at, turn = radius * np.sqrt(rng.uniform(0, 0.9, MOST_DROPS)), rng.uniform(0, 1, MOST_DROPS)
    drops = np.column_stack(
        [
            centre_x + at * np.cos(2 * pi * turn),
            centre_y + at * np.sin(2 * pi * turn),
            rng.uniform(0.008, 0.02, MOST_DROPS) * height,
            rng.uniform(0, 1, MOST_DROPS),
        ]
    )
    return Scene(still.astype(np.int16), ring, direction, tile, drops)


@numba.njit(cache=True, nogil=True)
def _mark_levels(angle, blur, marks, levels):  # type: ignore[no-untyped-def] # compiled
    """Give how bright a mark, smeared by the shutter, makes each direction."""
    smear, pitch = max(blur, 0.02), 2 * np.pi / marks
    for k in range(DIRECTIONS):
        ahead = (k * 2 * np.pi / DIRECTIONS - angle + MARK_HALF_WIDTH) % pitch
        covered = max(0.0, min(smear, ahead) - max(0.0, ahead - 2 * MARK_HALF_WIDTH))
        levels[k] = int(130 * min(1.0, covered / smear))


@numba.njit(cache=True, nogil=True)
def _render(still, ring, direction, noise, angle, blur, marks, lamp, shift, out):  # type: ignore[no-untyped-def] # compiled  # noqa: PLR0913, PLR0917 - one call a batch, no objects inside compiled code
    height, width = still.shape
    lamp_width = int(LAMP_SHARE * width)
    levels = np.empty(DIRECTIONS, np.int16)
    for k in range(out.shape[0]):
        light = np.int16(22 if lamp[k] else 0)
        picture = out[k]
        for i in range(height):
            row = noise[i + shift[k, 0]]
            for j in range(width):
                level = still[i, j] + light + row[j + shift[k, 1]]
                picture[i, j] = min(np.int16(235), max(np.int16(16), level))
        _mark_levels(angle[k], blur[k], marks, levels)
        flat = picture.reshape(height * width)
        for n in range(ring.size):
            flat[ring[n]] = min(235, flat[ring[n]] + levels[direction[n]])
        if lamp[k]:
            picture[: lamp_width // 2, :lamp_width] = 235


@numba.njit(cache=True, nogil=True)
def _draw_drops(drops, wet, out):  # type: ignore[no-untyped-def] # compiled
    for k in range(out.shape[0]):
        for n in range(int(wet[k] * drops.shape[0])):
            _draw_drop(out[k], drops[n, 0], drops[n, 1], drops[n, 2])


@numba.njit(cache=True, nogil=True)
def _draw_drop(picture, x, y, size):  # type: ignore[no-untyped-def] # compiled
    height, width = picture.shape
    for i in range(max(0, int(y - size)), min(height, int(y + size) + 2)):
        for j in range(max(0, int(x - size)), min(width, int(x + size) + 2)):
            away = hypot(i - y, j - x)
            if away <= size:
                bright = 60 if i < y else 22
                picture[i, j] = min(235, picture[i, j] + bright)


def render(
    scene: Scene,
    angle: Floats,
    blur: Floats,
    marks: int,
    wet: Floats,
    lamp: NDArray[np.bool_],
    rng: np.random.Generator,
) -> Bytes:
    """Render some frames.

    Parameters
    ----------
    scene : Scene
        From `build_scene`.
    angle : ndarray
        Angle of the first mark when the shutter opens. [rad]
    blur : ndarray
        Angle the rotor turns while the shutter is open. [rad]
    marks : int
        Marks on the rotor, evenly spaced.
    wet : ndarray
        Share of the droplets that are on the window, 0 to 1.
    lamp : ndarray
        Whether the sync lamp is lit.
    rng : Generator
        Draws the noise of each frame.

    Returns
    -------
    ndarray
        Luma planes, one for each frame.
    """
    out = np.empty((angle.size, *scene.still.shape), np.uint8)
    shift = rng.integers(0, 64, (angle.size, 2))
    ring, direction = scene.ring, scene.direction
    _render(scene.still, ring, direction, scene.noise, angle, blur, marks, lamp, shift, out)
    _draw_drops(scene.drops, wet, out)
    return out
