"""The grid round one canal, and the state at the start."""

import numpy as np
from numpy.typing import NDArray

from canalwright.anatomy.lumen import Lumen
from canalwright.heat.layout import CONTENT, STUFF, Cells, Grid
from canalwright.heat.materials import Materials, Surroundings
from canalwright.heat.resolution import Resolution

Array = NDArray[np.float64]
Records = NDArray[np.void]
SHAFT = 20.0
"""Length of an instrument that the model follows, mm."""
NODE = 0.4
"""Greatest length of one node of an instrument, mm."""
WIDEST_IN_ROOT = 0.3


def stuff(materials: Materials, surroundings: Surroundings) -> Records:
    """The properties as the kernels take them."""
    m, body = materials, materials.body_temperature
    film = surroundings.film_conductance
    k, c, h = 1e-3, 1e-9, 1e-6
    blood = m.blood_capacity * c
    half = m.melt_width / 2
    values = {
        "k_gp": m.gp_conductivity * k, "c_gp": m.gp_capacity * c, "latent": m.gp_latent * c,
        "melt_low": m.gp_melt_first - half - body, "melt_mid_low": m.gp_melt_first + half - body,
        "melt_mid_high": max(m.gp_melt_second - half, m.gp_melt_first + half) - body,
        "melt_high": m.gp_melt_second + half - body,
        "melt_share": m.melt_share_first,
        "freeze_low": m.gp_freeze - m.freeze_width / 2 - body, "freeze_high": m.gp_freeze + m.freeze_width / 2 - body,
        "film": m.sealer_resistance / h,
        "k_dentine": m.dentine_conductivity * k, "c_dentine": m.dentine_capacity * c,
        "k_ligament": m.ligament_conductivity * k, "c_ligament": m.ligament_capacity * c,
        "w_ligament": m.ligament_perfusion * blood,
        "k_bone": m.bone_conductivity * k, "c_bone": m.bone_capacity * c, "w_bone": m.bone_perfusion * blood,
        "k_sealer": m.sealer_conductivity * k, "c_sealer": m.sealer_capacity * c,
        "k_air": m.air_conductivity * k, "c_air": m.air_capacity * c,
        "k_steel": m.steel_conductivity * k, "c_steel": m.steel_capacity * c,
        "contact": m.contact_conductance * h,
        "top_film": m.top_film * h,
        "top_temperature": (m.mouth_temperature if film is None else surroundings.temperature) - body,
        "outer_film": -1.0 if film is None else film * h,
        "outer_temperature": (body if film is None else surroundings.temperature) - body,
        "room": m.room_temperature - body, "plugger": m.plugger_temperature - body,
        "band": m.thermostat_band, "offset": m.carrier_offset, "body": body, "soft": m.soft_fraction, "open_top": 0.0,
    }  # fmt: skip
    record = np.zeros(1, STUFF)
    for name, value in values.items():
        record[name] = value
    return record


def grid(lumen: Lumen, materials: Materials, surroundings: Surroundings, resolution: Resolution) -> Grid:
    """Rows of equal height along the canal, growing below the apex; columns of equal width in it, growing outwards.

    The canal is round with the area of its section; the dentine round it is as thick as the least wall.
    """
    step = resolution.axial
    count = max(round(lumen.z[-1] / step), 2)
    tissue = surroundings.film_conductance is None
    below = _below(step, resolution, materials.ligament_thickness) if tissue else np.zeros(0)
    heights = np.concatenate([[step], below[::-1], np.full(count, step), [step]])
    first, nz = 1 + len(below), len(heights)
    faces = np.concatenate([[0.0], np.cumsum(heights)]) - step - below.sum()
    centre = (faces[1:] + faces[:-1]) / 2
    canal = np.zeros(nz, dtype=bool)
    canal[first : first + count] = True
    bore = np.where(canal, np.interp(centre, lumen.z, np.sqrt(lumen.area / np.pi)), 0.0)
    wall = np.interp(centre, lumen.z, lumen.wall)
    root = np.where(canal, bore + wall, 0.0)
    ligament = np.where(canal, root + materials.ligament_thickness, 0.0)
    near = ~canal & (centre < 0) & (centre > -materials.ligament_thickness)
    ligament = np.where(near, root[first] + materials.ligament_thickness, ligament)
    outer = ligament.max() + resolution.outside if tissue else root.max() * 1.001
    face = columns(float(bore.max()), float(root.max()), float(outer), resolution)
    node = np.sqrt((face[1:] ** 2 + face[:-1] ** 2) / 2)
    inner = min(int(np.searchsorted(face, bore.max())) + 1, len(node) - 2)
    start = np.zeros((nz, len(node)))
    body = materials.body_temperature
    if tissue:
        start[canal] = _warmth(node, bore[canal], ligament[canal]) * (materials.canal_temperature - body)
        start[-1] = materials.mouth_temperature - body
    else:
        start[:] = surroundings.temperature - body
    column = np.vstack([face, np.append(node, face[-1])])
    row = np.vstack([heights, centre, bore, root, ligament])
    span = max(int(NODE / step), 1)
    return Grid(len(node), nz, first, first + count, inner, round(SHAFT / step / span), span, step, column, row, start)


def cells(g: Grid, content: int) -> Cells:
    """The state at the start, the canal holding `content` throughout."""
    n = g.nz * g.nr
    m = n + g.nodes
    t = np.zeros(m)
    t[:n] = g.start.ravel()
    mark = np.zeros((3, g.nz), dtype=np.int64)
    mark[CONTENT] = content
    real = (np.zeros((10, m)), mark, np.zeros((3, g.nz)), np.zeros(g.nodes + 1), np.zeros((6, m)))
    touch = (np.zeros(g.nodes + 1, dtype=np.int64), np.zeros(m, dtype=np.int64), np.zeros(m), np.zeros(g.nodes))
    cover = (np.zeros((2, m), dtype=np.int64), np.zeros(g.nodes))
    warm = (np.zeros(m, dtype=np.int64), np.zeros((7, m)), np.zeros(2, dtype=np.int64))
    return Cells(t, *real, *touch, *cover, *warm)


def columns(bore: float, root: float, outer: float, resolution: Resolution) -> Array:
    """Radii of the column borders: equal to the widest part of the canal, then growing, bounded within the root."""
    width = resolution.radial
    faces = list(np.arange(int(np.ceil(bore / width - 1e-9)) + 1) * width)
    while faces[-1] < outer:
        width = width * resolution.growth
        if faces[-1] < root:
            width = min(width, max(WIDEST_IN_ROOT, resolution.radial))
        faces.append(faces[-1] + width)
    return np.asarray([*faces, faces[-1] + width])


def _below(step: float, resolution: Resolution, ligament: float) -> Array:
    """Heights of the rows beneath the canal, from the apex down: two of ligament, then bone, growing."""
    heights = [ligament / 2, ligament / 2]
    width = max(step, ligament / 2)
    while sum(heights) < resolution.outside:
        width *= max(resolution.growth, 1.15)
        heights.append(width)
    return np.asarray(heights)


def _warmth(node: Array, bore: Array, ligament: Array) -> Array:
    """1 in the canal, falling with the logarithm of the radius to 0 in the bone; shape (rows, columns)."""
    a, b = np.maximum(bore, 1e-3)[:, None], ligament[:, None]
    return np.clip(np.log(b / node[None, :]) / np.log(b / a), 0.0, 1.0)
