"""Invented radiographs with and without writing in them, to find out how often the suspicion of text is right."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

Grey = NDArray[np.float64]
NAMES = ("INVENTED ADA", "Doe, John 1970", "46 R 2026-11-25", "ID 7712345", "Dra. Inventada", "kV 70 mA 7")
HEIGHTS = (10, 12, 16, 24, 32)


def radiograph(seed: int, shape: tuple[int, int] = (360, 480)) -> Grey:
    """Grey 0-255: roots, crowns, bright fillings, bone texture, noise; nobody's."""
    rng = np.random.default_rng(seed)
    rows, columns = shape
    y, x = np.mgrid[:rows, :columns]
    made = 70 + 30 * ndimage.gaussian_filter(rng.normal(size=shape), 12) * 12
    made += 12 * ndimage.gaussian_filter(rng.normal(size=shape), 2.0) * 4
    for k in range(rng.integers(2, 5)):
        middle = (k + 0.5) * columns / 4 + rng.normal() * 12
        half = rng.uniform(0.05, 0.09) * columns * np.clip((y - 0.1 * rows) / (0.75 * rows), 0.05, 1)
        inside = (np.abs(x - middle) < half) & (y > 0.1 * rows)
        made += ndimage.gaussian_filter(inside.astype(float), 2) * rng.uniform(40, 70)
        canal = (np.abs(x - middle) < rng.uniform(1.5, 5)) & (y > 0.15 * rows) & (y < 0.85 * rows)
        made += ndimage.gaussian_filter(canal.astype(float), 1.0) * rng.choice([-40.0, 90.0])
        if rng.random() < 0.5:
            crown = (np.abs(x - middle) < half) & (y > rng.uniform(0.8, 0.9) * rows)
            made += ndimage.gaussian_filter(crown.astype(float), 1.2) * 110
    made = ndimage.gaussian_filter(made, 0.8) + rng.normal(size=shape) * rng.uniform(2, 6)
    return np.clip(made, 0, 245)


def with_text(grey: Grey, text: str, height: int, corner: int, level: int) -> Grey:
    """The picture with `text`, letters about `height` pixels tall, in one of four corners."""
    image = Image.fromarray(grey.astype(np.uint8))
    font = _font(round(1.38 * height))
    box = font.getbbox(text)
    x = 6 if corner % 2 == 0 else grey.shape[1] - int(box[2]) - 6
    y = 4 if corner < 2 else grey.shape[0] - int(box[3]) - 8
    ImageDraw.Draw(image).text((x, y), text, fill=level, font=font)
    return np.asarray(image, float)


@cache
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)
