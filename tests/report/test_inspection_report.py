import io

import pytest
from rich.console import Console

from locbench.config.edits import ChangedFile, Edit, EditedFile
from locbench.report.commands import command
from locbench.report.copy_block import Copies, copy_texts, print_copy_block
from locbench.report.inspection import inspection_headline, print_inspection
from locbench.results import ChangeRecord, DiagnosisRecord, Inspection, MeasuredRecord, TableRecord, TagViewRecord

ROBOT = '# mine\nheading_from = "gyro"\n[pods.left]\ny = "4.7 in"\n'


def diagnosis(severity, code="counter_stuck", changes=()):
    return DiagnosisRecord(
        code=code,
        severity=severity,
        where="odometry.csv",
        evidence=f"evidence of {code}",
        measured={"share": MeasuredRecord(value=0.5, std=None, dimension=None)},
        meaning=f"meaning of {code}.",
        remedy=f"remedy of {code}.",
        changes=list(changes),
    )


def inspection(*diagnoses, evidence="B"):
    table = TableRecord(
        table="tags", file="tags.csv", rows=12, rate_hz=25.0, longest_gap_s=3.21, first_s=0.5, last_s=60.25
    )
    presses = TableRecord(
        table="marks", file="marks.csv", rows=3, rate_hz=None, longest_gap_s=None, first_s=1.0, last_s=9.0
    )
    return Inspection(
        locbench="0",
        session="run",
        evidence=evidence,
        duration_s=None if evidence is None else 60.0,
        tables=[table, presses],
        tag_view=TagViewRecord(share_of_time=0.5, longest_without_s=3.21, longest_without_from_s=7.0),
        diagnoses=list(diagnoses),
    )


def shown(found, changed=(), width=100):
    stream = io.StringIO()
    print_inspection(found, changed, "logs/run", Console(file=stream, width=width, highlight=False))
    return stream.getvalue()


ERROR, WARNING, NOTE = (
    diagnosis(severity, code) for severity, code in (("error", "pod_scale"), ("warning", "tag_view"), ("note", "gap"))
)


@pytest.mark.parametrize(
    ("found", "headline"),
    [
        (inspection(), 'Nothing wrong found in "run".'),
        (inspection(NOTE, NOTE), 'Nothing wrong found in "run" (2 notes).'),
        (inspection(WARNING, NOTE), '1 warning in "run"; the worst: tag view: evidence of tag_view.'),
        (
            inspection(ERROR, ERROR, WARNING),
            '2 errors, 1 warning in "run"; the worst: pod scale: evidence of pod_scale.',
        ),
        (inspection(ERROR, evidence=None), '"run" cannot be used: 1 error.'),
    ],
)
def test_the_first_line_is_the_answer(found, headline):
    assert inspection_headline(found) == headline
    assert " ".join(shown(found).split()).startswith(headline)


def test_each_diagnosis_has_its_evidence_meaning_remedy_and_line():
    change = ChangeRecord(file="robot.toml", key="heading_from", line='heading_from = "pods"')
    text = shown(inspection(diagnosis("error", "pod_scale", [change]), NOTE))
    order = ["What was found", "ERROR pod scale", "evidence of pod_scale", "meaning of pod_scale"]
    order += ["remedy of pod_scale", 'heading_from = "pods"', "Noted", "evidence of gap"]
    order += ["Tables of the log", "Where to look next"]
    # the headline quotes the evidence before the table
    text = text[text.index("What was found") :]
    places = [text.index(word) for word in order]
    assert places == sorted(places)
    assert "in robot.toml, heading_from:" in text


def test_the_table_of_rates_has_dashes_where_presses_have_no_rate():
    lines = {line.split()[0]: line.split() for line in shown(inspection()).splitlines() if line.startswith("[")}
    assert lines["[tags]"] == ["[tags]", "tags.csv", "12", "25.0", "3.21", "0.50", "60.25"]
    assert lines["[marks]"] == ["[marks]", "marks.csv", "3", "–", "–", "1.00", "9.00"]


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (inspection(NOTE), "locbench evaluate logs/run"),
        (inspection(WARNING), "locbench evaluate logs/run"),
        (inspection(ERROR), "locbench inspect logs/run"),
    ],
)
def test_the_last_line_says_which_command_comes_next(found, words):
    assert words in shown(found).split("Where to look next")[1]


def test_two_keys_of_one_line_are_one_line_to_write():
    line = 'pods = { l = "a", r = "b" }'
    changes = [ChangeRecord(file="session.toml", key=f"odometry.pods.{pod}", line=line) for pod in "lr"]
    text = shown(inspection(diagnosis("error", "pods_exchanged", changes)))
    assert text.count(line) == 1
    assert "in session.toml, odometry.pods.l, odometry.pods.r:" in text


@pytest.mark.parametrize(
    ("folder", "shown"),
    [("logs/run", "logs/run"), ("runs\\Zähler", "runs\\Zähler"), ("my runs/1", '"my runs/1"'), ("a;b", '"a;b"')],
)
def test_a_command_can_be_copied_whatever_the_folder_is_called(folder, shown):
    assert command("evaluate", folder) == f"locbench evaluate {shown}"


def test_lines_to_copy_are_never_broken_and_copies_are_whole():
    long = '"' + "x" * 150 + '"'
    edits = (
        Edit(EditedFile.ROBOT, ("heading_from",), "pods"),
        Edit(EditedFile.ROBOT, ("pods", "left", "note"), "x" * 150),
    )
    changed = ChangedFile(EditedFile.ROBOT, "../robot.toml", ROBOT, edits)
    stream = io.StringIO()
    print_copy_block([changed], Console(file=stream, width=80))
    expected = f'heading_from = "pods"\n\n[pods.left]\nnote = {long}\n'
    assert stream.getvalue() == f"\nNumbers to copy into the robot\n\n# ../robot.toml\n{expected}"
    (name, text), *others = copy_texts([changed], Copies.CORRECTED).items()
    assert (name, others) == ("robot_corrected.toml", [])
    assert text == ROBOT.replace('"gyro"', '"pods"') + f"note = {long}\n"


def test_without_changes_there_is_no_block():
    stream = io.StringIO()
    print_copy_block([], Console(file=stream))
    assert stream.getvalue() == ""


def test_a_narrow_terminal_loses_nothing():
    assert "evidence of pod_scale" in " ".join(shown(inspection(ERROR), width=30).split())
