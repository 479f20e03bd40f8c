"""The command that makes a vehicle file from questions in the trade's words."""

import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from configurator.cli.shared import BookPlace, CatalogDir, app, case_of
from configurator.errors import BadInput, Fault
from configurator.units.showing import as_shown

if TYPE_CHECKING:
    from configurator.car.questions import Answers, Question
    from configurator.catalogue.load import Catalog

BACK, UNKNOWN = "<", "?"


@app.command("new", epilog='Example: tipin new coupe.toml --set name=Coupe --set engine_size="350 cu in"')
def new_command(
    car: Annotated[Path, typer.Argument(metavar="CAR", help="vehicle file to make (TOML)", show_default=False)],
    like: Annotated[
        Path | None, typer.Option(metavar="FILE", help="a car that is nearly the same: its figures are offered")
    ] = None,
    answered: Annotated[
        list[str] | None, typer.Option("--set", metavar="QUESTION=ANSWER", help="an answer, not asked for again")
    ] = None,
    answers_file: Annotated[
        Path | None, typer.Option("--answers", metavar="FILE", help="answers as JSON, by question; null: not known")
    ] = None,
    more: Annotated[
        bool, typer.Option("--more", help="ask of a car there is what moves its answer most, until it stands still")
    ] = False,
    catalog: CatalogDir = None,
    book: BookPlace = None,
) -> None:
    """Describe a car: questions on the terminal, or answers in a file.

    With --set or --answers alone nothing is asked, and what they leave out is not known.
    """
    from configurator.car.described import text_of_car
    from configurator.car.questions import MORE, QUESTIONS
    from configurator.catalogue.load import load_catalog, shipped_catalog_dir
    from configurator.files.writing import write_whole

    parts = load_catalog(catalog or shipped_catalog_dir())
    if more:
        _ask_more(car, parts)
        return
    if car.exists():
        raise BadInput([Fault(str(car), "", "is there already", "a file that is not there yet", "or --more asks on")])
    told = {**_of_file(answers_file), **_of_words(answered or [])}
    offered = _offered(like) if like else {}
    if not told and not sys.stdin.isatty():
        expected = "a terminal to ask on, or answers: --set name=Coupe, or --answers FILE"
        raise BadInput([Fault("tipin new", "", "has nobody to ask", expected)])
    if told and not sys.stdin.isatty():
        answers: Answers = {**offered, **told}
    else:
        try:
            answers = _asked(parts, told, offered)
        except typer.Abort:
            typer.echo("\nGiven up: nothing was written.")
            raise
    _refuse_faults(answers, told, parts)
    write_whole(car, text_of_car(answers, [*QUESTIONS, *MORE]))
    typer.echo(f"{car} is written.\n")
    _first_answer(car, catalog)


def _of_words(words: Sequence[str]) -> dict[str, str]:
    """Answers of the form QUESTION=ANSWER; `?` where it is not known."""
    pairs = [word.partition("=") for word in words]
    for key, sign, _ in pairs:
        if not sign:
            raise BadInput.in_field("set", key, "is no answer", "QUESTION=ANSWER, such as engine_size=3.2l")
    return _known_questions({key.strip(): answer.strip() for key, _, answer in pairs}, "--set")


def _of_file(path: Path | None) -> dict[str, str]:
    from configurator.files.reading import read_text

    if path is None:
        return {}
    try:
        given = json.loads(read_text(path))
    except ValueError as error:
        raise BadInput([Fault(str(path), "", f"is no JSON ({error})", '{"engine_size": "350 cu in"}')]) from None
    if not isinstance(given, dict) or any(isinstance(value, dict | list | bool) for value in given.values()):
        expected = '{"engine_size": "350 cu in", "idle_speed": null}'
        raise BadInput([Fault(str(path), "", "is not one answer a question", expected)])
    said = {key: "" if value is None else str(value).strip() for key, value in given.items()}
    return _known_questions(said, str(path))


def _known_questions(answers: dict[str, str], where: str) -> dict[str, str]:
    from configurator.car.questions import MORE, QUESTIONS
    from configurator.files.reading import did_you_mean

    keys = list(dict.fromkeys(question.key for question in (*QUESTIONS, *MORE)))
    faults = [
        Fault(where, key, "is no question", f"one of {', '.join(keys)}", did_you_mean(key, keys))
        for key in answers if key not in keys
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)
    asked = {question.key: question for question in (*QUESTIONS, *MORE)}
    return {key: asked[key].meant(answer) for key, answer in answers.items()}


def _offered(like: Path) -> dict[str, str]:
    """What another car's file answers."""
    from configurator.car.described import answers_of
    from configurator.files.reading import read_toml

    return answers_of(read_toml(like))


def _refuse_faults(answers: "Answers", told: "Answers", catalog: "Catalog") -> None:
    """Every answer at fault at once; raises BadInput."""
    from configurator.car.described import faults_of_answers, not_asked

    faults = faults_of_answers(answers, catalog)
    faults = [*not_asked(told, answers, faults), *faults]
    if faults:
        raise BadInput(faults)


def _asked(catalog: "Catalog", told: "Answers", offered: "Answers") -> "Answers":
    """All questions but those told, one after the other; `<` goes back to the one before."""
    from configurator.car.questions import asked_of

    answers = dict(told)
    been: list[str] = []
    typer.echo(
        f"{UNKNOWN} where you don't know; {BACK} goes back to the question before. Nothing is written until the end."
    )
    while True:
        asked = list(asked_of(answers))
        question = next((one for one in asked if one.key not in answers), None)
        if question is None:
            if _is_right(asked, answers):
                return answers
            offered = {**offered, **answers}
            answers = {key: answer for key, answer in answers.items() if key in told}
            been = []
            continue
        number, of = asked.index(question) + 1, len(asked)
        answer = _answer(question, f"{number}/{of}", answers, offered, catalog)
        if answer is None:
            if been:
                answers.pop(been.pop())
            continue
        answers[question.key] = answer
        been.append(question.key)


def _answer(
    question: "Question", number: str, answers: "Answers", offered: "Answers", catalog: "Catalog"
) -> str | None:
    """One answer that has no fault; empty where it is not known, None to go back."""
    from configurator.car.described import faults_of_answer

    typer.echo(f"\n{number}  {question.asks}")
    typer.echo(as_shown(f"     {question.help}; such as {question.example}"))
    for word, meaning in question.choices.items():
        typer.echo(as_shown(f"       {word}: {meaning}"))
    while True:
        typed = typer.prompt(
            "    ", default=offered.get(question.key, ""), show_default=bool(offered.get(question.key))
        )
        answer = typed.strip()
        if answer == BACK:
            return None
        answer = question.meant(answer)
        faults = faults_of_answer(question, {**answers, question.key: answer}, catalog)
        if not faults:
            if not answer:
                typer.echo(as_shown(f"     not known: {question.if_unknown}"))
            return answer
        for fault in faults:
            says = "; ".join(filter(None, [fault.problem, f"expected {fault.expected}" if fault.expected else ""]))
            typer.echo(f"     {says}; {fault.remedy}" if fault.remedy else f"     {says}")


def _is_right(asked: "Iterable[Question]", answers: "Answers") -> bool:
    """Whether what was answered is to be written."""
    from configurator.car.understood import understood

    typer.echo("")
    for question in asked:
        says = understood(question, answers[question.key])
        typer.echo(f"  {question.asks:62} {says if answers[question.key] else as_shown(says)}")
    while True:
        typed: str = typer.prompt("\nIs that right? [Y/n]", default="y", show_default=False)
        said = typed.strip().lower()
        if said in ("y", "yes", "n", "no"):
            return said.startswith("y")
        typer.echo(
            "  y: the file is written, as it stands above, and a first answer comes of it\n"
            f"  n: the questions come again, each with what you answered; Enter keeps it, {BACK} goes back\n"
            "  Ctrl-C gives up, and nothing is written"
        )


def _first_answer(car: Path, catalog: Path | None) -> None:
    """What comes of it at once, and what may be asked next."""
    from configurator.advice.checked import checked
    from configurator.book.car_now import car_now
    from configurator.book.car_records import CarRecords
    from configurator.views.tables import check_text

    records = CarRecords()
    report = checked(car_now(case_of(car, catalog), records), records, [], everything=False)
    typer.echo(as_shown(check_text(report, everything=False)))
    typer.echo(
        f"\nNext: `tipin next {car} --symptom stumble` (or popback, flat, dull, smoke) says what to try; "
        f"`tipin new {car} --more` asks for what would make it surer."
    )


def _ask_more(car: Path, catalog: "Catalog") -> None:
    """Figures that are not known, the one that moves the answer most first, written into the file one by one."""
    from configurator.advice.over_unknown import in_a_sentence, matters, over_unknown
    from configurator.car.described import question_of, with_line
    from configurator.car.fitted import vehicle_for
    from configurator.files.reading import read_text, toml_of
    from configurator.files.writing import write_whole
    from configurator.judging.case import Case

    passed: set[str] = set()
    while True:
        text = read_text(car)
        tables = toml_of(text, str(car))
        case = Case.of(vehicle_for(tables, str(car), catalog), catalog)
        over = over_unknown(case, case.circuit_names[0])
        if over is None:
            typer.echo("Everything that moves the answer is known.")
            return
        moves = next((one for one in over.figures if one.figure not in passed and matters(one, over.smallest_mm)), None)
        if moves is None:
            still = "nothing that is not known" if not passed else "nothing else that is not known"
            says = in_a_sentence(over).partition("; ")[0]
            typer.echo(as_shown(f"{says}; {still} moves it by more than a size"))
            return
        typer.echo(as_shown(in_a_sentence(over)))
        question = question_of(moves.figure)
        answer = _answer(question, " -", {}, {}, catalog)
        if not answer:
            passed.add(moves.figure)
            continue
        write_whole(car, with_line(text, question, answer))
        typer.echo(f"     written into {car}\n")
