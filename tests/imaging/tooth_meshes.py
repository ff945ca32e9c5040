"""Invented teeth as meshes whose truth is known in closed form: tubes swept along an arc and a straight.

A canal runs from its foramen at z = 0 up an arc of `radius` and `angle` in the x-z plane, then
straight along +z. Its section is an ellipse, least width across the plane of the arc (y), widths linear in z.
The root is a round tube about a line moved by `shift` in y, so that the wall is least on that side:
wall = root radius - shift - minor / 2 when minor / 2 + shift is the farthest reach of the ellipse.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Tube:
    radius: float = 10.0
    angle: float = 30.0
    straight: float = 9.0
    foramen: float = 0.3
    taper: float = 0.05
    ratio: float = 1.4
    root: float = 1.5
    root_taper: float = 0.12
    shift: float = 0.3
    crown: float = 7.0
    place: tuple[float, float] = (0.0, 0.0)

    @property
    def length(self) -> float:
        return self.radius * np.radians(self.angle) + self.straight

    def minor(self, z: np.ndarray) -> np.ndarray:
        return self.foramen + self.taper * np.asarray(z)

    def major(self, z: np.ndarray) -> np.ndarray:
        return self.ratio * self.minor(z)

    def outer(self, z: np.ndarray) -> np.ndarray:
        return self.root + self.root_taper * np.asarray(z)

    def wall(self, z: np.ndarray) -> np.ndarray:
        """Least distance from ellipse to circle in the cross plane: root radius less the ellipse's farthest reach."""
        t = np.linspace(0, 2 * np.pi, 720)
        half_y, half_x = self.minor(z) / 2, self.major(z) / 2
        reach = np.hypot(half_x[:, None] * np.cos(t), half_y[:, None] * np.sin(t) - self.shift).max(axis=1)
        return self.outer(z) - reach

    def centre(self, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Points and unit tangents (towards the crown) at arc lengths `z`, which may lie beyond both ends."""
        bow = self.radius * np.radians(self.angle)
        theta = np.clip((bow - z) / self.radius, 0, np.radians(self.angle))
        up, down = np.maximum(z - bow, 0), np.minimum(z, 0)
        tangent = np.column_stack([-np.sin(theta), 0 * z, np.cos(theta)])
        x = self.radius * (1 - np.cos(theta))
        point = np.column_stack([x, 0 * z, -self.radius * np.sin(theta) + up])
        return point + down[:, None] * tangent + [*self.place, 0], tangent

    def _sweep(self, z: np.ndarray, half_x: np.ndarray, half_y: np.ndarray, shift: float, around: int):
        point, tangent = self.centre(z)
        y = np.array([0.0, 1.0, 0.0])
        x = np.cross(y, tangent)
        t = np.linspace(0, 2 * np.pi, around, endpoint=False)
        ring = (
            point[:, None]
            + half_x[:, None, None] * np.cos(t)[:, None] * x[:, None]
            + (half_y[:, None] * np.sin(t) + shift)[..., None] * y
        )
        return closed_tube(ring, point[0] + shift * y, point[-1] + shift * y)

    def lumen(self, edge: float = 0.1, around: int = 32, horn: float = 3.0):
        """From the foramen up through a chamber that closes to a horn `horn` mm above the straight's end."""
        z = np.arange(-0.02, self.length + horn + 1e-9, edge)
        close = np.clip((self.length + horn - z) / horn, 0.05, 1.0) ** 0.5
        return self._sweep(z, self.major(z) / 2 * close, self.minor(z) / 2 * close, 0.0, around)

    def dentine(self, edge: float = 0.25, around: int = 48):
        """The outer surface: root, then a crown that closes like a dome."""
        top = self.length + self.crown
        z = np.append(np.arange(0, top - 0.05, edge), top - 0.02)
        dome = np.sqrt(np.clip(1 - (np.maximum(z - self.length, 0) / self.crown) ** 2, 0.0, 1.0))
        r = self.outer(z) * dome
        return self._sweep(z, r, r, self.shift, around)


def closed_tube(ring: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of a swept ring (n, m, 3), its ends closed by fans to `low` and `high`; outward faces."""
    n, m, _ = ring.shape
    i, j = np.meshgrid(np.arange(n - 1), np.arange(m), indexing="ij")
    a, b = i * m + j, i * m + (j + 1) % m
    c, d = a + m, b + m
    faces = np.concatenate([np.stack([a, b, d], -1).reshape(-1, 3), np.stack([a, d, c], -1).reshape(-1, 3)])
    j = np.arange(m)
    bottom = np.column_stack([(j + 1) % m, j, np.full(m, n * m)])
    top = np.column_stack([(n - 1) * m + j, (n - 1) * m + (j + 1) % m, np.full(m, n * m + 1)])
    vertices = np.vstack([ring.reshape(-1, 3), low, high])
    return vertices, np.vstack([faces, bottom, top])


def joined(*meshes: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Several closed meshes in one file, overlapping one another as they may."""
    vertices, faces, count = [], [], 0
    for v, f in meshes:
        vertices.append(v)
        faces.append(f + count)
        count += len(v)
    return np.vstack(vertices), np.vstack(faces)


def ball(middle: tuple[float, float, float], radii: tuple[float, float, float], n: int = 24):
    """A closed ellipsoid."""
    theta = np.linspace(0.02, np.pi - 0.02, n)[::-1]
    phi = np.linspace(0, 2 * np.pi, 2 * n, endpoint=False)
    ring = (
        np.stack(
            [
                np.sin(theta)[:, None] * np.cos(phi),
                np.sin(theta)[:, None] * np.sin(phi),
                np.repeat(np.cos(theta)[:, None], 2 * n, axis=1),
            ],
            axis=-1,
        )
        * radii
        + middle
    )
    return closed_tube(ring, ring[0].mean(axis=0), ring[-1].mean(axis=0))


def rod(low: tuple[float, float, float], high: tuple[float, float, float], r0: float, r1: float, around: int = 32):
    """A closed straight round tube from `low` to `high`, radius `r0` to `r1`."""
    a, b = np.array(low), np.array(high)
    n = max(2, int(np.linalg.norm(b - a) / 0.12))
    t = np.linspace(0, 1, n)[:, None]
    way = (b - a) / np.linalg.norm(b - a)
    x = np.cross([0.0, 1.0, 0.0], way)
    x /= np.linalg.norm(x)
    y = np.cross(way, x)
    phi = np.linspace(0, 2 * np.pi, around, endpoint=False)
    spokes = np.cos(phi)[:, None] * x + np.sin(phi)[:, None] * y
    ring = (a + t * (b - a))[:, None] + (r0 + t * (r1 - r0))[..., None] * spokes
    return closed_tube(ring, a, b)


def block_of_dentine(half: float = 3.2, low: float = 0.0, high: float = 19.0):
    """A plain root and crown: a tube that narrows to the apex, closed flat at both ends."""
    return rod((0, 0, low), (0, 0, high), 0.6 * half, half, 48)


def two_canals():
    """Two canals, 0.4 mm wide at the foramen, that open side by side into a chamber whose floor is at z = 11."""
    left = rod((-1.0, 0, -0.02), (-1.3, 0, 12.0), 0.2, 0.35)
    right = rod((1.0, 0, -0.02), (1.3, 0, 12.0), 0.2, 0.35)
    return joined(left, right, ball((0, 0, 12.5), (2.0, 1.3, 1.5)))


def two_in_one():
    """Two orifices, one foramen: canals from a chamber at z = 12 that meet at z = 4 and go on as one."""
    left, right = rod((0, 0, 3.9), (-1.4, 0, 12), 0.2, 0.3), rod((0, 0, 3.9), (1.4, 0, 12), 0.2, 0.3)
    return joined(rod((0, 0, -0.02), (0, 0, 4.1), 0.2, 0.22), left, right, ball((0, 0, 12.5), (2.0, 1.3, 1.5)))


def one_in_two():
    """One wide canal above, two below z = 5: no chamber floor at the parting."""
    left, right = rod((-0.9, 0, -0.02), (0, 0, 5.2), 0.18, 0.3), rod((0.9, 0, -0.02), (0, 0, 5.2), 0.18, 0.3)
    return joined(left, right, rod((0, 0, 4.8), (0, 0, 15), 0.4, 0.5))
