"""The inner loop: time steps of rest and of press, over all draws at once.

State by draw and station (d, n): `gutta` is gutta-percha as section area of the cooled material [mm2]
(so it is mass), `sealer` [mm2], `soft` the softness. By draw and portal (d, k): sealer front, sealer beyond, supply
at the mouth, how far gutta-percha has come, and the memory of its pieces (d, k, CELLS).
"""

import numpy as np

from canalwright.compaction.branches import advance_gutta, advance_sealer, rewarm
from canalwright.compaction.materials import (
    BIND,
    FORCE,
    FRICTION,
    GRIP,
    INDEX,
    VISCOSITY,
    WALL,
    WARMTH,
)
from canalwright.compaction.pressure import down_the_column, under_the_plugger
from canalwright.compaction.rheology import consistency, lag, specific_volume, yield_stress
from canalwright.kernels import compiler

njit = compiler("canalwright.compaction")

ATMOSPHERE = 0.101


@njit
def _warm(temperature, base, m):  # type: ignore[no-untyped-def]
    return base + m[WARMTH] * (temperature - base)


@njit
def rest(steps, heat, base, soft, peak, material):  # type: ignore[no-untyped-def]
    """Let the temperature go through time indices `steps` with nothing pressing; `soft` and `peak` change in place.

    `heat` (h, m, n) is the temperature of the filling; `peak` (d, n) collects its greatest value.
    """
    for k in range(len(material)):
        m = material[k]
        h = np.int64(k) if heat.shape[0] > 1 else 0
        for i in range(heat.shape[2]):
            s = soft[k, i]
            last = _warm(heat[h, steps[0] - 1, i], base, m)
            rising = True
            for j in steps:
                t = _warm(heat[h, j, i], base, m)
                if (t < last) == rising:
                    s = _turn(s, last, m)
                    rising = not rising
                peak[k, i] = max(peak[k, i], t)
                last = t
            soft[k, i] = _turn(s, last, m)


@njit
def _turn(s, temperature, m):  # type: ignore[no-untyped-def]
    """The lagging softness at a turning point; cold stays cold without arithmetic."""
    if temperature < 38.0 and s < 0.004:
        return s
    return lag(s, temperature, m)


@njit
def press(  # type: ignore[no-untyped-def]
          time, steps, heat, surface, base, material, step, hydraulic, minor, major, area, perimeter,
          film, force, face, sunk, bound, tip, soft, peak, gutta, sealer,
          station, length, path, most, slot, width, cone_tip, front, beyond, supply, reach, arrived, cells,
          peak_pressure, on_wall, fed, drawn, escaped, slipped, trace, trace_sealer, trace_gutta):  # fmt: skip
    """Press through time indices `steps`; `tip` (d,) is the station of the plugger's face. All state changes in place.

    Adds to: `peak_pressure` and `on_wall` (d, n) (less by twice the yield, Tresca), `fed` (d, n) contraction taken up
    [mm2], `drawn` (d,) volume that left the surface [mm3], `escaped` (d,) sealer that found no room, `slipped` (d,) share
    of the time in which the plugger slipped. `trace` (m, n), `trace_sealer` and `trace_gutta` (m, k) record draw 0.
    """
    stations = heat.shape[2]
    for k in range(len(material)):
        m = material[k]
        g = np.int64(k) if hydraulic.shape[0] > 1 else 0
        h = np.int64(k) if heat.shape[0] > 1 else 0
        top = tip[k]
        yields = np.empty(stations)
        pressure = np.zeros(stations)
        volume = np.empty(stations)
        temp = np.empty(stations)
        ease = np.zeros(stations)
        mean_p = np.zeros(stations)
        push = force * m[FORCE] * (1.0 - m[BIND] if bound else 1.0)
        for b in range(len(station)):
            i = station[b]
            hot = peak[k, i]
            out = base + 0.5 * (hot - base)
            rewarm(cells[k, b], arrived[k, b], out + m[WALL] * (hot - out), out, length[b], most[b], m)
        for i in range(stations):
            volume[i] = specific_volume(_warm(heat[h, steps[0] - 1, i], base, m), soft[k, i], m)
        total = 0.0
        slip_time = 0.0
        for j in steps:
            dt = time[j] - time[j - 1]
            total += dt
            for i in range(top + 1):
                t = _warm(heat[h, j, i], base, m)
                temp[i] = t
                soft[k, i] = _turn(soft[k, i], t, m)
                yields[i] = yield_stress(soft[k, i], m)
            pressure[top], slips = under_the_plugger(push, face, area[g, top], sunk[k], yields[top], m[GRIP])
            slip_time += dt if slips else 0.0
            down_the_column(pressure, top, step, hydraulic[g], yields, m[GRIP], m[FRICTION], gutta[k])
            for i in range(top + 1):
                p = pressure[i]
                now = specific_volume(temp[i], soft[k, i], m)
                shrunk = gutta[k, i] * (volume[i] - now)
                ratio = p / (2.0 * yields[i])
                if shrunk > 0.0:
                    take = shrunk * min(ratio, 1.0)
                    fed[k, i] += take
                    gutta[k, i] += take / now
                    drawn[k] += take / now * step
                volume[i] = now
                ease[i] = max(ease[i], ratio)
                mean_p[i] += p * dt
                peak_pressure[k, i] = max(peak_pressure[k, i], p)
                on_wall[k, i] = max(on_wall[k, i], p - 2.0 * yields[i] if gutta[k, i] > 0.0 else p)
            for b in range(len(station)):
                i = station[b]
                if i > top:
                    continue
                old = reach[k, b]
                spare = dt
                if old <= 0.0 and pressure[i] >= 2.0 * yields[i]:
                    front[k, b], out_volume, supply[k, b], spare = advance_sealer(
                        pressure[i], dt, front[k, b], path[b], supply[k, b], width[k, b], m[VISCOSITY]
                    )
                    beyond[k, b] += out_volume
                if spare > 0.0 and gutta[k, i] > 0.0:
                    s = _warm(surface[h, j, i], base, m)
                    mouth = s + m[WALL] * (temp[i] - s)
                    end = temp[0] if b == 0 else s
                    new = advance_gutta(
                        pressure[i], spare, time[j] - spare, temp[i], soft[k, i], mouth, end, width[k, b],
                        minor[g, i] if b > 0 else cone_tip, slot[b], length[b], most[b], old, arrived[k, b], cells[k, b], m,
                    )  # fmt: skip
                    if new > old:
                        bore = 0.25 * np.pi * width[k, b] ** 2
                        ahead = max(front[k, b] - old, 0.0)
                        out = min(max(new + ahead - length[b], 0.0), ahead)
                        reach[k, b] = new
                        front[k, b] = new + ahead - out
                        beyond[k, b] += out * bore
                        drawn[k] += (new - old) * bore
            if k == 0:
                trace[j, :] = pressure
                trace_sealer[j, :] = front[0]
                trace_gutta[j, :] = reach[0]
        slipped[k] = slip_time / total if total > 0.0 else 0.0
        carried = 0.0
        for i in range(top + 1):
            now = volume[i]
            room = area[g, i] - gutta[k, i] * now
            put = min(carried, max(room - sealer[k, i], 0.0) * step)
            sealer[k, i] += put / step
            carried -= put
            if pressure[i] <= 0.0 or room <= 1e-9 or gutta[k, i] <= 0.0:
                continue
            share = _side_fill(
                total, mean_p[i] / total, ease[i], minor[g, i], major[g, i], gutta[k, i] * now,
                consistency(temp[i], soft[k, i], m), m[INDEX],
            )  # fmt: skip
            air = max(room - sealer[k, i], 0.0)
            held = air * ATMOSPHERE / (ATMOSPHERE + peak_pressure[k, i])
            kept = min(sealer[k, i], film * perimeter[g, i])
            fill = max(share * (room - kept - held), 0.0)
            gutta[k, i] += fill / now
            drawn[k] += fill / now * step
            over = max(sealer[k, i] - max(room - fill - held, 0.0), 0.0)
            sealer[k, i] -= over
            carried += over * step
        for i in range(top + 1, stations):
            put = min(carried, max(area[g, i] - gutta[k, i] - sealer[k, i], 0.0) * step)
            sealer[k, i] += put / step
            carried -= put
        escaped[k] += carried


@njit
def spill(gutta, sealer, area, step, escaped):  # type: ignore[no-untyped-def]
    """Sealer for which a station has no room rises to the next one, in place; past the last it has `escaped` (d,)."""
    for k in range(len(gutta)):
        g = np.int64(k) if area.shape[0] > 1 else 0
        carried = 0.0
        for i in range(gutta.shape[1]):
            held = sealer[k, i] + carried / step
            sealer[k, i] = min(held, max(area[g, i] - gutta[k, i], 0.0))
            carried = (held - sealer[k, i]) * step
        escaped[k] += carried


@njit
def _side_fill(seconds, pressure, ease, minor, major, gutta, stiff, n):  # type: ignore[no-untyped-def]
    """Share of the space beside the gutta-percha (a flank, a fin) that it comes to fill, 0 to 1.

    The flank is a slot half as wide as the canal and as deep as the canal reaches past the material; `ease` is the
    greatest pressure over twice the yield: below 1 the material hardly gives way.
    """
    core = min(2.0 * np.sqrt(gutta / np.pi), major)
    depth = max(0.5 * (major - core), 0.01)
    slit = 0.5 * minor
    q = (1.0 + n) / n
    speed = slit * n / (2.0 * (2.0 * n + 1.0)) * (pressure * slit / (2.0 * stiff)) ** (1.0 / n)
    come = min((q * speed * seconds) ** (1.0 / q), slit * ease)
    return min(come / depth, 1.0) * min(ease, 1.0)


@njit
def settle(tip, section, face, step, gutta, drawn, removed):  # type: ignore[no-untyped-def]
    """The plugger follows down: take `drawn` [mm3] from the surface; returns (surface station, volume beside it).

    What stands in the plugger's way above `tip` goes first. What is left of it rises in the ring beside the
    plugger (the coronal escape); what the ring cannot hold counts as `removed`. When more was drawn than stood
    in its way, the surface sinks below `tip`.
    """
    surface = tip.copy()
    beside = np.zeros(len(tip))
    for k in range(len(tip)):
        g = np.int64(k) if section.shape[0] > 1 else 0
        carried = -drawn[k]
        for i in range(tip[k] + 1, section.shape[1]):
            ring = max(section[g, i] - face, 0.0)
            over = max(gutta[k, i] - ring, 0.0)
            gutta[k, i] -= over
            carried += over * step
        drawn[k] = 0.0
        if carried < 0.0:
            i = tip[k]
            while carried < 0.0 and i >= 0:
                take = min(-carried, gutta[k, i] * step)
                gutta[k, i] -= take / step
                carried += take
                surface[k] = i
                i -= 1
            removed[k] += min(carried, 0.0)
        else:
            beside[k] = carried
            for i in range(tip[k] + 1, section.shape[1]):
                put = min(carried, max(section[g, i] - face - gutta[k, i], 0.0) * step)
                gutta[k, i] += put / step
                carried -= put
            removed[k] += carried
    return surface, beside
