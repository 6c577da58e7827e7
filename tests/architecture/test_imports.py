"""Who may import whom. Reads the imports of every module and fails on a breach of the house rules."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
IO = {
    "sqlalchemy",
    "psycopg",
    "sqlite3",
    "requests",
    "httpx",
    "socket",
    "subprocess",
    "fastapi",
    "dash",
    "uvicorn",
    "alembic",
    "os",
    "shutil",
}
PURE = ("ledger/craft", "ledger/domain", "ledger/analytics", "ledger/forecast", "ledger/planning", "dashboard/figures")
EXCUSED = {
    "ledger/planning/solve_highs.py": "os"
}  # HiGHS prints a banner on file descriptor 1 that only the system can hush
CLOCKS = {
    ("datetime", "now"),
    ("date", "today"),
    ("datetime", "utcnow"),
    ("time", "time"),
    ("uuid", "uuid4"),
    ("random", "random"),
}
MAY_IMPORT = {
    "ledger/craft": {"ledger.errors", "ledger.quantities", "ledger.craft"},
    "ledger/domain": {"ledger.errors", "ledger.quantities", "ledger.domain", "ledger.craft.water"},
    "ledger/analytics": {"ledger.errors", "ledger.quantities", "ledger.domain", "ledger.analytics"},
    "ledger/forecast": {"ledger.errors", "ledger.quantities", "ledger.forecast"},
    "ledger/planning": {"ledger.errors", "ledger.quantities", "ledger.planning", "ledger.forecast"},
    "dashboard/figures": {
        "ledger.errors",
        "ledger.quantities",
        "ledger.analytics",
        "ledger.application.reports_types",
        "dashboard.figures",
    },
    "ledger/store": {"ledger.errors", "ledger.domain", "ledger.store"},
    "ledger/projections": {"ledger.errors", "ledger.domain", "ledger.store", "ledger.projections", "ledger.quantities"},
}
SQL_ALLOWED = (
    "ledger/store",
    "ledger/projections",
    "ledger/trace",
    "ledger/application/contacts.py",
    "migrations",
    "seeds",
    "tests",
    "benchmarks",
)


def modules(folder: str) -> list[Path]:
    return sorted(p for p in (ROOT / folder).rglob("*.py") if "__pycache__" not in p.parts)


def imports(path: Path) -> list[tuple[int, str]]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found += [(node.lineno, f"{node.module}.{alias.name}") for alias in node.names]
    return found


@pytest.mark.parametrize("folder", PURE)
def test_pure_folders_import_no_input_or_output(folder):
    breaches = [
        f"{p.relative_to(ROOT)}:{line} imports {name}"
        for p in modules(folder)
        for line, name in imports(p)
        if name.split(".")[0] in IO
    ]
    breaches = [b for b in breaches if not any(b.startswith(f) and b.endswith(f" {m}") for f, m in EXCUSED.items())]
    assert not breaches, "\n".join(breaches)


@pytest.mark.parametrize("folder", sorted(MAY_IMPORT))
def test_a_folder_imports_only_what_the_house_allows(folder):
    allowed = MAY_IMPORT[folder]
    breaches = []
    for path in modules(folder):
        for line, name in imports(path):
            if name.split(".")[0] in ("ledger", "dashboard", "seeds") and not any(
                name == a or name.startswith(a + ".") for a in allowed
            ):
                breaches.append(f"{path.relative_to(ROOT)}:{line} imports {name}")
    assert not breaches, "\n".join(breaches)


def test_rules_know_no_clock_and_no_chance():
    breaches = []
    for path in modules("ledger/domain"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and isinstance(node.func.value, ast.Name)
            ):
                if (node.func.value.id, node.func.attr) in CLOCKS:
                    breaches.append(
                        f"{path.relative_to(ROOT)}:{node.lineno} calls {node.func.value.id}.{node.func.attr}"
                    )
    assert not breaches, "\n".join(breaches)


def test_sql_is_spoken_only_where_tables_live():
    breaches = []
    for folder in ("ledger", "dashboard"):
        for path in modules(folder):
            where = path.relative_to(ROOT).as_posix()
            if where.startswith(SQL_ALLOWED):
                continue
            breaches += [
                f"{where}:{line} imports {name}" for line, name in imports(path) if name.split(".")[0] == "sqlalchemy"
            ]
    assert not breaches, "\n".join(breaches)


def test_files_hold_one_subject():
    long = {
        p.relative_to(ROOT).as_posix(): n
        for p in modules("ledger") + modules("dashboard")
        if (n := len(p.read_text(encoding="utf-8").splitlines())) > 420
    }
    assert not long, f"over 420 lines, split by subject: {long}"
