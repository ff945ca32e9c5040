"""Run every benchmark, one after the other, each in a process of its own: `python -m benchmarks [name ...]`."""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


def main(wanted: list[str]) -> int:
    names = sorted(p.stem for p in HERE.glob("bench_*.py"))
    unknown = [w for w in wanted if f"bench_{w}" not in names]
    if unknown:
        print(
            f"no benchmark named {', '.join(unknown)}; there are {', '.join(n.removeprefix('bench_') for n in names)}"
        )
        return 2
    failed = []
    for name in names:
        if wanted and name.removeprefix("bench_") not in wanted:
            continue
        print(f"\n== {name.removeprefix('bench_')}", flush=True)
        if subprocess.run([sys.executable, "-m", f"benchmarks.{name}"], cwd=HERE.parent, check=False).returncode:
            failed.append(name)
    if failed:
        print(f"failed: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
