from locbench.inspection.readings import MEANINGS, reading_diagnoses
from locbench.session import Finding, FindingCode, Measured, Severity


def test_every_code_of_reading_has_a_meaning():
    assert set(MEANINGS) == set(FindingCode)
    assert all(meaning.endswith(".") for meaning in MEANINGS.values())


def test_a_finding_becomes_a_diagnosis_with_all_it_had():
    finding = Finding(
        FindingCode.NOT_A_NUMBER,
        Severity.ERROR,
        "not a number",
        "Mend these rows",
        file="tags.csv",
        row=3,
        column="x",
        value="three",
        measured=(Measured("rows", 2.0),),
    )
    (found,) = reading_diagnoses([finding])
    assert (found.code, found.severity) == (FindingCode.NOT_A_NUMBER, Severity.ERROR)
    assert found.where == 'tags.csv, row 3, column "x"'
    assert found.evidence == "Not a number (found: three)."
    assert found.remedy == "Mend these rows."
    assert found.measured == finding.measured
