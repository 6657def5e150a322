"""`export`: everything that is on record of one customer, as JSON or as a page to read."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from assistant.desk import add_shared, at_desk, write_file
from assistant.exits import Exit
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("said", metavar="WHO", help="#number, name, phone or tag")
    parser.add_argument("--out", type=Path, default=Path("-"), metavar="FILE", help="FILE.json or FILE.html")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Write the export."""
    from assistant.export_page import write_page
    from dialogue.counter.privacy import export_customer

    with at_desk(options, settings) as desk:
        customer = desk.customer(options.said)
        found = export_customer(desk.counter, customer.id).to_dict()
        if options.out.suffix.lower() in (".html", ".htm"):
            write_file(options.out, write_page(found, desk.counter.wording, desk.counter.today))
        else:
            write_file(options.out, json.dumps(found, ensure_ascii=False, indent=None if options.json else 2) + "\n")
        if str(options.out) != "-":
            written = {"file": str(options.out), "customer": customer.id}
            desk.show(written, [desk.say("file_written", path=str(options.out))])
    return Exit.DONE
