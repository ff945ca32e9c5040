"""A small cohort of virtual teeth, as every test here uses it."""

import sys
import time
from pathlib import Path

from canalwright.cohort.job import Job

GROUP = {
    "name": "lower molars", "tooth": 46, "canals": ["mesiobuccal"], "shaping": {"size": 30, "taper": 0.04},
    "measured_by": "micro-CT", "wall_factor": 1.0,
}  # fmt: skip
PROTOCOL = {"name": "2 s", "choices": {"temperature": 200.0, "activation": 2.0, "rounds": 2}, "tray": None}
ABOUT = {"what": "a test"}


def jobs(count: int = 10, *, draws: int = 64, seed: int = 5) -> list[Job]:
    return [
        Job(
            f"t{i:03d}", "trial",
            {
                "group": GROUP, "seed": seed, "number": i, "protocols": [PROTOCOL], "draws": draws, "press": False,
                "limit": 10.0, "within": 5.0,
            },
        )
        for i in range(count)
    ]  # fmt: skip


def main(out: str) -> None:
    """Run the cohort on one worker: the client that a test kills. It stands still before the last tooth, so as to be killed in time."""
    from canalwright.cohort.fleet import Local
    from canalwright.cohort.run import Progress, run

    def tell(progress: Progress) -> None:
        while progress.done == progress.all - 1:
            time.sleep(1.0)

    run(jobs(), Path(out), Local(1, dashboard=None), about=ABOUT, tell=tell)


if __name__ == "__main__":
    main(sys.argv[1])
