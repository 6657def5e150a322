"""`label`: labels for the throat as PDF, one a page or many on a sheet."""

from __future__ import annotations

import argparse
from pathlib import Path

from assistant.desk import add_shared, at_desk, write_file
from assistant.exits import CommandError, Exit
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("tags", nargs="*", metavar="TAG")
    parser.add_argument("--bench", action="store_true", help="everything that is strung and not fetched")
    parser.add_argument("--out", type=Path, default=Path("labels.pdf"), metavar="FILE", help="- is standard output")
    parser.add_argument("--size", default="60x25", metavar="WxH", help="of a label in millimetres (default: 60x25)")
    parser.add_argument("--sheet", metavar="PAPER", help="many on a sheet: a4, letter or millimetres")
    parser.add_argument("--margin", type=float, default=8, metavar="MM", help="of the sheet")
    parser.add_argument("--gap", type=float, default=2, metavar="MM", help="between labels on a sheet")
    parser.add_argument("--skip", type=int, default=0, metavar="N", help="places of the first sheet that are used up")
    parser.add_argument("--copies", type=int, default=1, metavar="N")
    parser.add_argument("--font", type=Path, metavar="FILE", help="a TTF font, for letters the usual one lacks")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Write the labels."""
    from assistant.labels.content import write_label
    from assistant.labels.errors import LabelError
    from assistant.labels.pdf import Sheet, draw_labels, read_sheet, read_size
    from dialogue.counter.labels import find_labels

    with at_desk(options, settings) as desk:
        wording = desk.counter.wording
        labels = desk.need(find_labels(desk.counter, tuple(options.tags), bench=options.bench))
        try:
            size = read_size(options.size, wording)
            sheet = None
            if options.sheet:
                paper = read_sheet(options.sheet, wording)
                sheet = Sheet(paper, max(options.margin, 0), max(options.gap, 0), max(options.skip, 0))
            contents = [write_label(facts, wording) for facts in labels.labels for _ in range(max(options.copies, 1))]
            pdf = draw_labels(contents, size, wording, sheet, options.font)
        except LabelError as error:
            raise CommandError(str(error)) from error
        write_file(options.out, pdf)
        if str(options.out) != "-":
            written = {"file": str(options.out), "labels": [facts.to_dict() for facts in labels.labels]}
            desk.show(written, [desk.say("labels_written", n=len(contents), path=str(options.out))])
    return Exit.DONE
