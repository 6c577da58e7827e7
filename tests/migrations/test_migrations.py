"""From an empty database to the newest schema, and the schema is what the tables say."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Text, create_engine, inspect, text

from ledger.projections import statements
from ledger.projections.tables import lots
from ledger.store import LedgerNotReady, open_store, schema
from ledger.store.metadata import metadata

ROOT = Path(__file__).resolve().parents[2]
ALEMBIC = [sys.executable, "-m", "alembic"]


def alembic(*words: str, **environment: str) -> str:
    done = subprocess.run(
        [*ALEMBIC, *words], cwd=ROOT, capture_output=True, text=True, env=os.environ | environment, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_an_empty_database_is_brought_to_the_newest_schema(empty_url: str) -> None:
    store = open_store(empty_url)
    store.create()
    engine = create_engine(store.url)
    assert set(inspect(engine).get_table_names()) >= {"events", "heads", "commands", "alembic_version"}
    assert schema.current_revision(engine) == schema.newest_revision()
    engine.dispose()
    store.close()


def test_tables_and_migrations_agree(empty_url: str) -> None:
    open_store(empty_url).create()
    assert "No new upgrade operations" in alembic("-x", f"url={empty_url}", "check")


def test_alembic_check_needs_no_database_of_ones_own() -> None:
    assert "No new upgrade operations" in alembic("check", SLABBOOK_URL="")


def test_alembic_alone_gets_there_too(empty_url: str) -> None:
    alembic("upgrade", "head", SLABBOOK_URL=empty_url)
    assert "No new upgrade operations" in alembic("check", SLABBOOK_URL=empty_url)
    store = open_store(empty_url)
    assert store.run(lambda unit: unit.position) == 0
    store.close()


def test_the_newest_revision_is_told_by_the_file_names() -> None:
    config = Config()
    config.set_main_option("script_location", str(ROOT / "migrations"))
    script = ScriptDirectory.from_config(config)
    assert script.get_heads() == [schema.newest_revision()]
    for revision in script.walk_revisions():
        assert Path(str(revision.path)).name.startswith(f"{revision.revision}_")


def test_a_ledger_of_another_age_is_not_touched(ledger_url: str) -> None:
    engine = create_engine(open_store(ledger_url).url)
    for found, message in (("0000", "bring it up to date"), ("9999", "newer than this program's")):
        with engine.begin() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = :found"), {"found": found})
        with pytest.raises(LedgerNotReady, match=message) as caught:
            open_store(ledger_url).run(lambda unit: unit.position)
        assert caught.value.found == found
    with pytest.raises(LedgerNotReady, match="newer"):
        open_store(ledger_url).create()
    engine.dispose()


def test_every_primary_key_leads_with_the_site() -> None:
    import_module("ledger.store.tables")
    if (ROOT / "ledger" / "projections" / "tables.py").exists():
        import_module("ledger.projections.tables")
    for table in metadata.tables.values():
        assert next(iter(table.primary_key.columns)).name == "site", table.name


def test_a_lot_of_an_older_ledger_that_holds_something_is_found_by_it(empty_url: str) -> None:
    alembic("upgrade", "0003", SLABBOOK_URL=empty_url)
    store = open_store(empty_url)
    engine = create_engine(store.url)
    with engine.begin() as connection:
        for lot, packs in (("JARS", 3), ("GONE", 0)):
            row = {c.name: "" if isinstance(c.type, Text) else 0 for c in lots.columns if c.name != "holds"}
            row |= {"site": "main", "lot": lot, "item": "LEMON-JAR", "packs": packs}
            names = ", ".join(row)
            connection.execute(text(f"INSERT INTO lots ({names}) VALUES ({', '.join(f':{n}' for n in row)})"), row)
    store.create()
    found = store.run(lambda unit: unit.rows(statements.LOTS_OF_ITEM, ("main", "LEMON-JAR")))
    assert [row[0] for row in found] == ["JARS"]
    engine.dispose()
    store.close()
