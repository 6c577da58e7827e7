"""`slabbook`: the command line. Exit code 0: done; 2: refused, nothing written; 1: something is wrong with the ledger or machine."""

from __future__ import annotations

import sys

import click

from ledger.errors import Conflict, SlabbookError
from ledger.interfaces.cli import audit, book, files, plan, read, record, season, sheet, upkeep
from ledger.interfaces.cli.context import Shop, console, shop_options
from ledger.interfaces.cli.streams import speak_everywhere


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@shop_options
@click.pass_context
def cli(context: click.Context, url: str, site: str, by: str) -> None:
    """Slabbook: the production ledger of a candy workshop.

    Amounts are written as people say them: "27.5 lb", "12 kg 400 g", "310 F", "1 h 20 min".
    """
    context.obj = Shop(url, site, by)


for _module in (record, read, book, files, upkeep, plan, season, sheet, audit):
    for _command in _module.COMMANDS:
        cli.add_command(_command)


def exit_code(error: SlabbookError) -> int:
    """2 for a refusal, 1 when the ledger or the machine is at fault (damaged, not there, busy, unreachable)."""
    return 1 if error.code.startswith("store.") and not isinstance(error, Conflict) else 2


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code."""
    speak_everywhere()
    try:
        code = cli.main(args=arguments, prog_name="slabbook", standalone_mode=False)
    except SlabbookError as error:
        console(error=True).print(f"{error.message}  [{error.code}]", markup=False)
        sys.exit(exit_code(error))
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        console(error=True).print(
            f"{error.strerror or error}{where}. Check the name, the rights and the room on the disk.", markup=False
        )
        sys.exit(1)
    except (click.Abort, KeyboardInterrupt):
        console(error=True).print("Stopped; nothing more was written.")
        sys.exit(130)
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
