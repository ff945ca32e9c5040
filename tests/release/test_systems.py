"""What only some systems have is never needed: everything loads and files are written where Unix calls are missing.

Windows and macOS cannot be tried on this machine. What can be tried is that no module of ours imports what is not there, that every
call that Windows lacks stands behind a question whether it is there, and that no file name of ours is one that Windows refuses.
"""

import ast
import re
import subprocess
import sys
from pathlib import Path

SOURCE = Path(__file__).parents[2] / "src"
FILES = sorted(SOURCE.rglob("*.py"))
UNIX_MODULES = (
    "crypt", "fcntl", "grp", "posix", "pty", "pwd", "readline", "resource", "spwd", "syslog", "termios", "tty", "_posixshmem",
)  # fmt: skip
UNIX_CALLS = {
    "os": (
        "chown", "chroot", "fchmod", "fchown", "fork", "forkpty", "getegid", "geteuid", "getgid", "getgroups", "getloadavg", "getpgid",
        "getpriority", "getresuid", "getsid", "getuid", "killpg", "lchown", "major", "makedev", "mkfifo", "mknod", "nice", "openpty",
        "pathconf", "posix_fadvise", "posix_fallocate", "posix_spawn", "pread", "pwrite", "readv", "register_at_fork", "sched_getaffinity",
        "sched_setaffinity", "sched_yield", "sendfile", "setgid", "setpgid", "setpriority", "setsid", "setuid", "statvfs", "sync",
        "sysconf", "tcgetpgrp", "uname", "wait", "wait3", "wait4", "writev", "O_CLOEXEC", "O_DIRECT", "O_DIRECTORY", "O_NOCTTY",
        "O_NOFOLLOW", "O_NONBLOCK", "O_SYNC", "WNOHANG",
    ),
    "signal": (
        "SIGALRM", "SIGCHLD", "SIGCONT", "SIGHUP", "SIGKILL", "SIGPIPE", "SIGQUIT", "SIGSTOP", "SIGTSTP", "SIGUSR1", "SIGUSR2", "alarm",
        "pause", "pthread_kill", "setitimer", "siginterrupt", "sigwait",
    ),
    "time": ("tzset", "clock_settime", "pthread_getcpuclockid"),
    "socket": ("AF_UNIX", "SO_REUSEPORT", "socketpair"),
}  # fmt: skip
"""What Python for Windows does not have (documentation of the standard library, "Availability: Unix")."""
LOADED = f"""
import importlib, os, pkgutil, re, signal, socket, sys, tempfile, time
from pathlib import Path
import canalwright
names = [m.name for m in pkgutil.walk_packages(canalwright.__path__, "canalwright.") if not re.search("apart_child|migrations", m.name)]
for name in names:
    importlib.import_module(name)  # what the libraries do for themselves on this system is theirs
for name in [n for n in sys.modules if n.split(".")[0] == "canalwright"]:
    del sys.modules[name]
for module, gone in {UNIX_CALLS!r}.items():
    for name in gone:
        vars(sys.modules[module]).pop(name, None)
for name in {UNIX_MODULES!r}:
    sys.modules[name] = None
for name in names:
    importlib.import_module(name)
from canalwright.casefile import toml
from canalwright.imaging.tracing import cores
from canalwright.records import files
from canalwright.web.chairbook import data_folder
with tempfile.TemporaryDirectory() as folder:
    toml.write("a = 1\\n", Path(folder) / "a.toml")
    assert (Path(folder) / "a.toml").read_bytes() == b"a = 1\\n"
    files.write_whole(files.private_folder(Path(folder) / "b") / "c", b"x")
    assert (Path(folder) / "b" / "c").read_bytes() == b"x"
with cores.workers() as pool:
    assert list(pool.map(abs, [-1])) == [1]
assert data_folder()
print(len(names))
"""


def test_everything_loads_without_what_only_unix_has() -> None:
    done = subprocess.run([sys.executable, "-c", LOADED], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout) > 300


def test_no_call_that_windows_lacks_without_asking() -> None:
    for path in FILES:
        text = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(text)):
            where, missing = f"{path.name}:{getattr(node, 'lineno', 0)}", set[str]()
            if isinstance(node, ast.Import):
                missing = {a.name for a in node.names} & set(UNIX_MODULES)
            elif isinstance(node, ast.ImportFrom):
                missing = {a.name for a in node.names} & set(UNIX_CALLS.get(node.module or "", ()))
                missing |= {node.module or ""} & set(UNIX_MODULES)
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                given = UNIX_CALLS.get(node.value.id, ())
                missing = (
                    {node.attr} & set(given) if f'hasattr({node.value.id}, "{node.attr}")' not in text else missing
                )
            assert not missing, f"{where}: {missing} is not on every system: ask with hasattr first"


def test_text_is_written_as_utf_8_and_bytes_as_bytes() -> None:
    """The encoding and the ends of lines of text files are those of the system unless they are given."""
    command = [
        sys.executable,
        "-m",
        "ruff",
        "check",
        "--isolated",
        "--preview",
        "--select",
        "PLW1514",
        "--quiet",
        str(SOURCE),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
    for path in FILES:
        text = path.read_text(encoding="utf-8")
        if "os.open(" in text and "os.write(" in text:
            assert "O_BINARY" in text, f"{path.name}: os.open writes text on Windows unless O_BINARY is given"


def test_no_file_of_ours_has_a_name_that_windows_refuses() -> None:
    taken = {"con", "prn", "aux", "nul", *(f"{n}{i}" for n in ("com", "lpt") for i in range(1, 10))}
    root = SOURCE.parent
    listed = subprocess.run(
        ["git", "ls-files"], cwd=root, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    names = listed or [p.relative_to(SOURCE).as_posix() for p in SOURCE.rglob("*") if p.is_file()]
    assert not [n for n in names if re.search(r'[<>:"|?*\\]|[ .]$', n)]
    assert not [n for n in names if {part.split(".")[0].lower() for part in n.split("/")} & taken]
    assert len({n.lower() for n in names}) == len(names), "two names that differ in capitals alone"
