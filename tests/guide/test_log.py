"""The log of a session is read back whatever became of single lines."""

import json

from canalwright.guide import DEPTH, GO, NOTE
from canalwright.guide.log import MOST_EVENTS, events_of


def test_good_lines_are_read_and_torn_ones_left_out() -> None:
    lines = [
        json.dumps({"kind": GO, "moment": 1}).encode(),
        b'{"kind": "go", "mom',
        b"",
        json.dumps({"kind": DEPTH, "moment": 2.5, "depth": 17}).encode(),
        json.dumps({"kind": DEPTH, "moment": 3}).encode(),
        json.dumps({"kind": "dance", "moment": 4}).encode(),
        json.dumps([1, 2]).encode(),
        b"[" * 100_000,
        json.dumps({"kind": NOTE, "moment": 5, "text": "a\x00b\n" + "c" * 300}).encode(),
    ]
    go, depth, note = events_of(lines)
    assert (go.kind, go.moment, go.depth) == (GO, 1.0, None)
    assert (depth.kind, depth.depth) == (DEPTH, 17.0)
    assert note.text.startswith("abc") and len(note.text) == 200


def test_a_log_without_an_end_is_read_so_far() -> None:
    line = json.dumps({"kind": GO, "moment": 1})
    assert len(list(events_of(line for _ in range(MOST_EVENTS + 10)))) == MOST_EVENTS
