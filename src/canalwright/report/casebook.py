"""The casebook: all that the records hold of a case, in order, as PDF, with its chain of events and how that was verified.

Every entry stands there with number, time, author, kind, content and hash; one that was corrected or withdrawn stays readable and
says by which entry. Sections are drawn from plans made again from the kept case file and choices; where such a plan differs
from the kept one the drawing says so, and the numbers beside it are those kept.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from canalwright.exchange import Dossier
from canalwright.exchange.dossier import assessment_of
from canalwright.planning.product import Plan
from canalwright.records.events import Event, Kind
from canalwright.report.card import SCALES
from canalwright.report.handover import Given, Say, head, plain, tables
from canalwright.report.options import Options
from canalwright.report.section import section_svg, width_mm
from canalwright.report.text import digest, plan_json
from canalwright.report.typeset import typeset

ROOM = 150.0
LONGEST = 700
_OPTIONS = Options(font_size=8.5 * 25.4 / 72, text_factor=0.9)


@dataclass(frozen=True)
class Verified:
    """How the chain was verified: `good` None when nobody looked; `seq` and `hash` of the newest entry; what was found; when."""

    good: bool | None = None
    seq: int = 0
    hash: str = ""
    found: str = ""
    at: str = ""


def casebook_pdf(
    dossier: Dossier, verified: Verified, plans: Mapping[int, Plan] | None = None, given: Given | None = None, *,
    say: Say = plain, language: str = "en", paper: str = "a4",
) -> bytes:  # fmt: skip
    """The casebook as PDF bytes. `plans` are plans made again, by the entry of the plan kept; a canal without one has no drawing."""
    plans = plans or {}
    corrected = _corrections(dossier)
    data = head(dossier, given or Given(), say, language) | {
        "title": say("Casebook"),
        "facts": [[say(k), v] for k, v in _facts(dossier, say) if v],
        "tables": tables(dossier, say),
        "columns": [say(c) for c in ("", "number", "interval", "comes from")],
        "numbers_title": say("Numbers"),
        "sections_title": say("Sections"),
        "sections": [_section(dossier, seq, plan, say) for seq, plan in sorted(plans.items())],
        "acts_title": say("Planned and done"),
        "acts_columns": [say(c) for c in ("step", "planned s", "done s", "planned mm", "done mm", "notes")],
        "acts": [_acts(e, say) for e in dossier.now if e.kind is Kind.CHAIR and isinstance(e.field("steps"), list)],
        "images_title": say("Images"),
        "images_columns": [say(c) for c in ("entry", "image", "label", "kind", "bytes", "SHA-256")],
        "images": [_image(e) for e in dossier.now if e.kind is Kind.IMAGE and e.payload],
        "events_title": say("Everything that happened, in order"),
        "events_columns": [say(c) for c in ("entry", "UTC", "by", "what", "content", "hash")],
        "events": [_event(e, corrected, say) for e in dossier.events],
        "chain_title": say("The chain of entries"),
        "chain": _chain(dossier, verified, say),
        "none": say("None."),
    }
    return typeset("casebook", data, paper)


def event_words(event: Event) -> str:
    """What an entry says, in one line; large content by its size and hash, so that it can be compared with the records."""
    payload = event.payload
    if payload is None:
        return "erased"
    if event.kind is Kind.PLAN:
        return f"canal {payload.get('canal')}; plan {_weight(payload.get('plan'))}; choices {payload.get('choices') or '-'}"
    if event.kind is Kind.MEASUREMENT and "case_file" in payload:
        return f"case file {_weight(payload['case_file'])}"
    if event.kind is Kind.CHAIR and isinstance(payload.get("steps"), list):
        rest = {k: v for k, v in payload.items() if k != "steps"}
        return f"{_flat(rest)}; {len(payload['steps'])} steps, listed above"  # type: ignore[arg-type]
    if assessment_of(event):
        rest = {k: v for k, v in payload.items() if k in ("on", "canal", "short_mm", "void_percent")}
        return f"{_flat(rest)}; assessment {_weight(payload)}"
    if event.kind is Kind.CORRECTION:
        new = payload.get("payload")
        what = f"now {_flat(new)}" if isinstance(new, Mapping) else "withdrawn"
        return f"corrects entry {payload.get('of')}: {what}; reason: {payload.get('reason')}"[:LONGEST]
    text = _flat(payload)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} ... {_weight(payload)}"


def _facts(dossier: Dossier, say: Say) -> list[tuple[str, str]]:
    view = dossier.view
    return [
        ("State", say(view.status)),
        ("Operator", view.operator),
        ("Opened", view.opened),
        ("Filled", view.filled),
        ("Next recall", view.next_due),
        ("Outcome", say(view.outcome) if view.outcome else ""),
        ("Records", dossier.store),
        ("Came from", view.origin),
    ]


def _section(dossier: Dossier, seq: int, plan: Plan, say: Say) -> dict[str, Any]:
    kept = next((c.plan for c in dossier.canals if c.plan_seq == seq), None)
    same = kept is not None and json.loads(json.dumps(plan_json(plan))) == _without_versions(kept, plan)
    note = (
        say("Made again from the kept case file and choices; the same plan as kept, {digest}.")
        if same
        else say(
            "Made again by this version; it differs from the kept plan: the drawing is of {digest}, the numbers are as kept."
        )
    )
    drawings = [
        section_svg(plan, options=replace(_OPTIONS, scale=s, quiet=frozenset(["backfill", "front"])))
        for s in SCALES[3:]
    ]
    svg = next((d for d in drawings if width_mm(d) <= ROOM), drawings[-1])
    title = f"{say(plan.canal.name)}, {say('entry')} {seq}"
    return {"title": title, "svg": svg, "note": note.format(digest=digest(plan))}


def _without_versions(kept: Mapping[str, Any], plan: Plan) -> dict[str, Any]:
    """The kept plan with the versions of the one made again: another version that says the same says the same."""
    return {**kept, "versions": dict(plan.versions)}


def _acts(event: Event, say: Say) -> dict[str, Any]:
    steps = event.field("steps")
    rows = [
        [
            say(str(step.get("kind", ""))),
            *(_decimal(step.get(key)) for key in ("planned_s", "done_s", "planned_mm", "done_mm")),
            "; ".join(str(n) for n in notes) if isinstance(notes := step.get("notes"), list) else "",
        ]
        for step in (steps if isinstance(steps, list) else [])
        if isinstance(step, Mapping)
    ]
    return {
        "title": f"{say(str(event.field('canal') or ''))}, {event.field('on')}, {say('entry')} {event.seq}",
        "rows": rows,
    }


def _image(event: Event) -> list[str]:
    return [str(event.seq), *(str(event.field(key) or "") for key in ("image", "label", "media", "bytes", "sha256"))]


def _event(event: Event, corrected: Mapping[int, str], say: Say) -> list[str]:
    words = event_words(event)
    if event.seq in corrected:
        words = f"[{say(corrected[event.seq])}] {words}"
    if event.behind:
        words += f" [{say('clock {s} s behind').format(s=f'{event.behind:g}')}]"
    if event.origin:
        o = event.origin
        words += (
            f" [{say('first recorded')} {o.time} {say('by')} {o.author}, {o.store} {o.case} {o.seq}, {o.hash[:16]}]"
        )
    time = f"{event.time:%Y-%m-%d %H:%M:%S}"
    return [str(event.seq), time, event.author, say(event.kind.value), words, f"{event.hash[:32]} {event.hash[32:]}"]


def _corrections(dossier: Dossier) -> dict[int, str]:
    """What became of an entry, by its number."""
    found: dict[int, str] = {}
    for e in dossier.events:
        of = e.field("of") if e.kind is Kind.CORRECTION else None
        if isinstance(of, int):
            found[of] = f"withdrawn by entry {e.seq}" if e.field("payload") is None else f"corrected by entry {e.seq}"
    return found


def _chain(dossier: Dossier, verified: Verified, say: Say) -> dict[str, Any]:
    first, last = dossier.events[0], dossier.events[-1]
    lines = [
        say("Each entry's hash is the SHA-256 of the hash before it and of the entry as it is kept, sealed; entries of other "
            "cases lie between, so the chain can be checked in the records only, not from this paper."),
        say("This case: {n} entries, from {first} to {last}.").format(n=len(dossier.events), first=first.seq, last=last.seq),
        say("Not shown by it: that the newest entries were cut off as a whole, or that somebody with the passphrase rewrote "
            "everything. Compare the newest hash with one written down elsewhere."),
    ]  # fmt: skip
    if verified.good is None:
        result = say("Not verified when this was written.")
    elif verified.good:
        result = say(
            "Verified {at}: all {n} entries of these records are as they were written; newest hash {hash}."
        ).format(at=verified.at, n=verified.seq, hash=verified.hash)
    else:
        result = say("Verified {at}: NOT as it was written. {found}").format(at=verified.at, found=verified.found)
    return {"result": result, "good": verified.good is True, "lines": lines}


def _flat(value: object) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"{k} {_flat(v)}" for k, v in value.items() if v not in (None, "", [], {}))
    if isinstance(value, list):
        return ", ".join(_flat(v) for v in value)
    return str(value)


def _weight(value: object) -> str:
    written = (
        value
        if isinstance(value, str)
        else json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    )
    data = written.encode()
    return f"({len(data)} bytes, SHA-256 {hashlib.sha256(data).hexdigest()[:16]})"


def _decimal(value: object) -> str:
    return f"{value:.1f}" if isinstance(value, int | float) and not isinstance(value, bool) else ""
