"""Records that are kept: cases as events that are never rewritten, identities apart, recalls and what they teach.

Open a `Store` with a `Secret`; everything else hangs on it.
"""

from canalwright.records.chain import Head
from canalwright.records.errors import RecordsError
from canalwright.records.events import Event, Kind
from canalwright.records.keys import Cost
from canalwright.records.patients import Identity
from canalwright.records.restore import restore
from canalwright.records.secret import Passphrase, SystemKeyring
from canalwright.records.store import Store

__all__ = [
    "Cost",
    "Event",
    "Head",
    "Identity",
    "Kind",
    "Passphrase",
    "RecordsError",
    "Store",
    "SystemKeyring",
    "restore",
]
