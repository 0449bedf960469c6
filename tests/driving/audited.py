"""The audit of a log that a script wrote."""

from tests.driving.script import Script, read_procedure


def findings_of_audit(script: Script) -> list[str]:
    """What `benchflow audit` finds wrong in the log of a script; empty if nothing."""
    from benchflow.review.audit.audit_file import audit_file

    report, damage = audit_file(script.path, read_procedure)
    return [*([damage] if damage else []), *(finding.message for finding in report.wrong)]
