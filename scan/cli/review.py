"""The command `review`: the local page for what waits, for photos from a phone, for rounds and focus."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from shortpencil.scan.asking import WAYS_TO_ASK
from shortpencil.scan.cli.stored import STORE_HELP, add_picture_option
from shortpencil.scan.language import N_, _, first_upper, told

if TYPE_CHECKING:
    from shortpencil.scan.practice.plan import Step as PlanStep
    from shortpencil.scan.practice.report import Report
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.review.focus_view import FocusOf, FocusView, Step
    from shortpencil.scan.review.serve import Opened

DONE = 0
PORT = 8467  # any that common programs leave free
MOST_SHOWN = 5  # of the cards that wait, before the page shows them all


def add_to(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command `review`."""
    parser = commands.add_parser(
        "review",
        help=_("answer what waits, on a local page; take photos with the phone"),
        description=_(
            "Serve a page on this computer: one flagged cell at a time beside its ink, whole cards, "
            "photos, rounds, and what to practise. Only this computer is served unless you say --lan."
        ),
        epilog=_("Example: shortpencil review --lan"),
    )
    parser.add_argument("--store", metavar="FILE|URL", help=_(STORE_HELP))
    parser.add_argument(
        "--lan", action="store_true", help=_("let a phone in the same network in, by a one-time code")
    )
    parser.add_argument(
        "--port",
        metavar="N",
        type=_port,
        default=PORT,
        help=_("the port, 0 for any free one (default: {port})", port=PORT),
    )
    parser.add_argument("--by", metavar="ALIAS", help=_("the name that signs your answers (default: you)"))
    parser.add_argument(
        "--plain-hand",
        action="store_true",
        help=_("read photos as any hand's, and keep nothing of their players' hands"),
    )
    add_picture_option(parser)
    parser.add_argument(
        "--ask",
        choices=WAYS_TO_ASK,
        help=_("ask a player everything, what matters (usual) or as little as possible, from now on"),
    )
    parser.add_argument(
        "--player", metavar="ALIAS", help=_("with --ask: whom (default: cards without a name)")
    )
    parser.add_argument("--no-browser", action="store_true", help=_("print the link and open nothing"))
    parser.add_argument("--json", action="store_true", help=_("print the links as a line of JSON"))
    parser.add_argument(
        "--stop-after",
        metavar="MINUTES",
        type=_minutes,
        default=120,
        help=_("stop when nobody asked for anything for so long (default: 120)"),
    )
    parser.set_defaults(run=run_review)


def _port(text: str) -> int:
    if text.isascii() and text.isdigit() and int(text) < 65536:
        return int(text)
    raise argparse.ArgumentTypeError(_("expected a port from 0 to 65535, found {text}", text=repr(text)))


def _minutes(text: str) -> int:
    if text.isascii() and text.isdigit() and 1 <= int(text) <= 10_000:
        return int(text)
    raise argparse.ArgumentTypeError(
        _("expected whole minutes from 1 to 10000, found {text}", text=repr(text))
    )


def run_review(args: argparse.Namespace) -> int:
    """Serve until stopped by the person, or by itself."""
    from shortpencil.forms.errors import InputError
    from shortpencil.scan.cli.after import after_of_store, worth_of_store
    from shortpencil.scan.cli.chores import DeskChores
    from shortpencil.scan.limits import not_limited_said
    from shortpencil.scan.places import default_store, forms_folder
    from shortpencil.scan.records.store import open_store
    from shortpencil.scan.review.serve import Serving, serve

    if args.player and not args.ask:
        raise InputError("--player: expected --ask with it: how much is that player asked?")

    how = Serving(
        args.port,
        args.lan,
        args.by or "you",
        args.stop_after * 60.0,
        args.plain_hand,
        card_pictures=not args.no_card_picture,
    )
    with open_store(args.store or default_store()) as store:
        store.empty_aside()
        if args.ask:
            store.ask_in(args.player, args.ask)
        for line in (*filter(None, [not_limited_said()]), *_waits(store)):
            print(line, file=sys.stderr)
        serve(
            store,
            forms_folder(),
            focus_of_store(store),
            how,
            lambda opened: _tell(opened, args.no_browser, as_json=args.json),
            DeskChores(store, forms_folder()),
            after=after_of_store(store),
            worth=worth_of_store(store),
        )
    print(_("shortpencil review has stopped. What was answered is kept."), file=sys.stderr)
    return DONE


def _waits(store: Store) -> list[str]:
    """Return what waits, a line a card, the first few: named as in every list."""
    from shortpencil.scan.review.naming import count_said
    from shortpencil.scan.review.shelf import all_that_waits, name_of, round_name

    waiting = all_that_waits(store)
    if not waiting:
        return []
    total = sum(len(fields) for _, fields in waiting)
    counts = {"questions": count_said(total, "question"), "cards": count_said(len(waiting), "card")}
    lines = [_("{questions} on {cards}:", **counts)]
    for serial, fields in waiting[:MOST_SHOWN]:
        name = round_name(store, serial) or name_of(store, store.card(serial))
        asked = {"name": name.line, "questions": count_said(len(fields), "question"), "serial": serial}
        lines.append("    " + _("{name}: {questions}, card {serial}", **asked))
    more = len(waiting) - MOST_SHOWN
    return [*lines, *(["    " + _("and {cards}", cards=count_said(more, "more card"))] if more > 0 else [])]


def _tell(opened: Opened, quiet: bool, *, as_json: bool = False) -> None:
    """Print the links, and open the page: to standard output go only the links, a line each."""
    if as_json:
        from shortpencil.scan.cli.streams import print_json
        from shortpencil.scan.review.links import links_json

        print_json(links_json(opened.laptop, opened.phone))
        sys.stdout.flush()
    else:
        print(opened.laptop, flush=True)
    if opened.phone:
        from shortpencil.scan.review.links import qr_text

        if not as_json:
            print(opened.phone, flush=True)
        print(qr_text(opened.phone), file=sys.stderr)
        says = _("Point a phone in the same network at this code. It lets one phone in, once.")
        print(says, file=sys.stderr)
    print(_("Ctrl+C stops it."), file=sys.stderr)
    if not quiet:
        import webbrowser

        webbrowser.open(opened.laptop)


def focus_of_store(store: Store) -> FocusOf:
    """Return the function that the focus page asks: the same as the command `focus`, as one view."""

    def focus(player: str | None, minutes: int) -> FocusView | str:
        from shortpencil.forms.errors import InputError
        from shortpencil.scan.advice import Asked, advise

        if player is not None and all(line.player != player for line in store.summaries()):
            return _("There is no round of {player} yet to work a session out from.", player=player)
        try:
            found = advise(store, Asked(player, minutes))
        except InputError as error:
            says = str(error).removeprefix(f"{store.name}: ")
            return first_upper(told(says))
        return found if isinstance(found, str) else view_of(found.report(player, with_pictures=False))

    return focus


def view_of(report: Report) -> FocusView:
    """Return a report as the page shows it."""
    from shortpencil.scan.practice import words
    from shortpencil.scan.practice.focus_charts import causes_chart, strokes_chart
    from shortpencil.scan.practice.picture import to_svg
    from shortpencil.scan.practice.plan import rungs_of
    from shortpencil.scan.practice.putting import ladders_said
    from shortpencil.scan.practice.rate_charts import putting_chart, time_charts
    from shortpencil.scan.practice.report import head_line, why_sentences
    from shortpencil.scan.review.focus_view import FocusView

    focus, plan, curve = report.focus, report.plan, report.putting.curve
    ladders = [said] if (said := ladders_said(report.putting)) else []
    pictures = [
        strokes_chart(focus, 84.0),
        causes_chart(plan.about.causes, 84.0),
        *time_charts(report.history, focus.phase, report.lengths, 84.0),
    ]
    if report.putting.putts or report.putting.practice:
        pictures.append(putting_chart(report.putting, report.unit, 84.0))
    aim = _("Aim in the test: {count} of {of}.", count=plan.aim.count, of=plan.aim.of)
    if plan.aim.usual:
        low, high = plan.aim.usual
        usual = _("As things stand, four tests of five bring {low} to {high}.", low=low, high=high)
        aim = f"{aim} {usual}"
    return FocusView(
        title=_("Practise your {many}", many=words.MANY[plan.phase]),
        whose=head_line(report),
        cue=words.held(plan.cue),
        why=tuple(words.held(_without_command(says)) for says in [*why_sentences(report), *ladders]),
        charts=tuple(to_svg(picture) for picture in pictures),
        plan=_("The plan: {length}", length=plan.length),
        steps=tuple(_step(step) for step in plan.steps),
        aim=words.held(aim),
        notes=tuple(map(words.held, plan.notes)),
        cautions=tuple(map(words.held, plan.cautions)),
        in_short=_(words.SHORT_CAUTIONS),
        foot=f"{_(words.EXECUTED)} {_(_RANGES)}",
        rungs=f"{words.listing(map(str, rungs_of(curve, report.unit)))} {report.unit}" if curve else "",
    )


_RANGES = N_("Ranges are made to hold the true value nine times in ten, if rounds stay like these.")


def _without_command(says: str) -> str:
    """Return a sentence without the command that tells a session: the page has a link for that."""
    before, found, _command = says.partition(": shortpencil practised ")
    return f"{before}." if found else says


def _step(step: PlanStep) -> Step:
    from shortpencil.scan.practice.plan import BOX_WORDS
    from shortpencil.scan.practice.words import held
    from shortpencil.scan.review.focus_view import Step

    box = BOX_WORDS[step.box]
    if step.drill is None:
        return Step(box, step.minutes, held(step.says), "", "")
    tries = step.throws if step.box == "test" else step.amount
    amount = _("{tries} tries; count: {counts}", tries=tries, counts=step.drill.counts)
    return Step(box, step.minutes, held(step.drill.title), held(amount), held(step.drill.how))
