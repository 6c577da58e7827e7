"""The product installs and runs on Windows and macOS too: no module reaches for what only one system has.

What is missing where is said in Python's library reference ("Availability: Unix"); the names Windows forbids in files, in Microsoft's
"Naming Files, Paths, and Namespaces".
"""

from __future__ import annotations

import ast
import re
import subprocess
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.architecture.test_imports import ROOT, imports, modules

PRODUCT = ("ledger", "dashboard", "seeds", "migrations")
UNIX_MODULES = {
    "fcntl",
    "grp",
    "posix",
    "pwd",
    "pty",
    "readline",
    "resource",
    "syslog",
    "termios",
    "tty",
    "curses",
    "crypt",
    "nis",
    "spwd",
}
UNIX_CALLS = {
    "os": {"fork", "forkpty", "getuid", "geteuid", "getgid", "setuid", "setgid", "setsid", "killpg", "getpgid", "mkfifo", "mknod", "sync", "chown",
           "nice", "uname", "statvfs", "fdatasync", "getloadavg", "wait", "wait3", "wait4", "fchmod", "O_DIRECTORY", "O_CLOEXEC", "O_SYNC"},
    "signal": {"alarm", "pause", "setitimer", "sigwait", "SIGALRM", "SIGHUP", "SIGKILL", "SIGUSR1", "SIGUSR2", "SIGCHLD", "SIGPIPE", "SIGQUIT"},
    "time": {"tzset"},
    "threading": {"pthread_kill"},
}  # fmt: skip
UNIX_PLACES = re.compile(r"/(tmp|dev|var|usr|etc|proc|home|bin)(/|$)")
FORBIDDEN = re.compile(r'[<>:"|?*\\]|[ .]$|^(con|prn|aux|nul|com\d|lpt\d)(\.|$)', re.IGNORECASE)


def nodes(folder: str) -> Iterator[tuple[str, ast.AST]]:
    for path in modules(folder):
        where = path.relative_to(ROOT).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            yield f"{where}:{getattr(node, 'lineno', 0)}", node


@pytest.mark.parametrize("folder", PRODUCT)
def test_nothing_is_imported_that_windows_has_not(folder: str) -> None:
    found = [f"{p.relative_to(ROOT)}:{line} imports {name}" for p in modules(folder) for line, name in imports(p)
             if name.split(".")[0] in UNIX_MODULES]  # fmt: skip
    assert not found, "\n".join(found)


@pytest.mark.parametrize("folder", PRODUCT)
def test_nothing_is_called_that_windows_has_not(folder: str) -> None:
    found = [f"{at} uses {node.value.id}.{node.attr}" for at, node in nodes(folder)
             if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.attr in UNIX_CALLS.get(node.value.id, ())]  # fmt: skip
    assert not found, "\n".join(found)


@pytest.mark.parametrize("folder", PRODUCT)
def test_no_place_is_named_that_only_unix_has(folder: str) -> None:
    found = [f"{at} names {node.value}" for at, node in nodes(folder)
             if isinstance(node, ast.Constant) and isinstance(node.value, str) and UNIX_PLACES.match(node.value)]  # fmt: skip
    assert not found, "\n".join(found)


def lacks_encoding(call: ast.Call) -> bool:
    """Whether a call opens, reads or writes text in whatever encoding the system happens to have."""
    if any(k.arg == "encoding" for k in call.keywords):
        return False
    name = (
        call.func.id
        if isinstance(call.func, ast.Name)
        else call.func.attr
        if isinstance(call.func, ast.Attribute)
        else ""
    )
    if name == "read_text":
        return isinstance(call.func, ast.Attribute) and not call.args
    if name == "write_text":
        return len(call.args) < 2
    mode = {"open": 1, "fdopen": 1}.get(name)
    if mode is None or (name == "open" and isinstance(call.func, ast.Attribute)):
        given = call.args[0] if name == "open" and call.args else None
        return isinstance(given, ast.Constant) and bool(re.fullmatch(r"[rwxa]\+?", str(given.value)))
    given = call.args[mode] if len(call.args) > mode else None
    return not (isinstance(given, ast.Constant) and "b" in str(given.value))


@pytest.mark.parametrize("folder", PRODUCT)
def test_every_text_file_says_its_encoding(folder: str) -> None:
    found = [at for at, node in nodes(folder) if isinstance(node, ast.Call) and lacks_encoding(node)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("code", "lacking"),
    [
        ("open(f)", True), ("open(f, 'rb')", False), ("open(f, 'w', encoding='utf-8')", False), ("p.open('w')", True), ("p.open('rb')", False),
        ("p.read_text()", True), ("p.read_text('utf-8')", False), ("p.write_text(t)", True), ("p.write_text(t, 'utf-8')", False),
        ("read_text(f)", False), ("Image.open(io.BytesIO(d))", False),
    ],
)  # fmt: skip
def test_the_search_for_encodings_finds_them(code: str, lacking: bool) -> None:
    call = ast.parse(code, mode="eval").body
    assert isinstance(call, ast.Call)
    assert lacks_encoding(call) == lacking


@pytest.mark.parametrize("folder", PRODUCT)
def test_no_date_is_written_with_a_dash_only_one_system_knows(folder: str) -> None:
    found = [at for at, node in nodes(folder) if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "strftime"
             and any(isinstance(a, ast.Constant) and "%-" in str(a.value) for a in node.args)]  # fmt: skip
    assert not found, "\n".join(found)


def test_every_file_can_lie_on_a_disk_of_windows_and_of_macos() -> None:
    told = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    files = [x for x in told.stdout.decode("utf-8").split("\0") if x]
    if told.returncode or not files:
        pytest.skip("no git here to list the files")
    assert not [f for f in files for part in Path(f).parts if FORBIDDEN.search(part)]
    assert not [f for f, n in Counter(f.casefold() for f in files).items() if n > 1]
    assert not [f for f in files if len(f) > 140]


def test_zones_come_with_the_product_where_the_system_has_none() -> None:
    needs = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    assert any(re.match(r"tzdata\b(?!.*;)", need) for need in needs)
