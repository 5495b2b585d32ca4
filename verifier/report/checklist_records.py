"""The checklist and a diagnosis as machine-readable records."""

from __future__ import annotations

from verifier.evidence.checklist import Checklist
from verifier.evidence.diagnosis import Diagnosis, Test
from verifier.report.checklist_words import cell, deed
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.records import Record


def checklist_record(version: str, checklist: Checklist) -> Record:
    """A bus is digits, highest bit first; `-`: either value is right."""
    covered = checklist.coverage
    circuit = {
        "name": checklist.design.name,
        "file": checklist.design.file,
        "power_up": checklist.power_up.value,
        "known_from": checklist.known_from,
        "at_least": checklist.at_least,
        "coverage": {
            "states": covered.states,
            "states_visited": covered.states_visited,
            "flips": covered.changes,
            "flips_made": covered.changes_made,
            "complete": covered.complete,
        },
        "notes": list(checklist.notes),
        "steps": [
            {
                "step": row.number,
                "do": deed(checklist, row).replace(KEEP_TOGETHER, " "),
                "either_way": row.may_race,
                "readings": {column.name: cell(row, column) for column in checklist.columns},
            }
            for row in checklist.rows
        ],
    }
    return {"edgewright": version, "circuits": [circuit]}


def diagnosis_record(version: str, diagnosis: Diagnosis) -> Record:
    design = diagnosis.checklist.design
    circuit = {
        "name": design.name,
        "file": design.file,
        "step": diagnosis.last_row,
        "further_steps": diagnosis.further_steps,
        "technology": diagnosis.technology.value,
        "sound_board_reads_so": diagnosis.sound,
        "faults_tried": diagnosis.faults_tried,
        "suspects": [
            {"fault": one.fault.name, "kind": one.fault.kind.value, "reads_like": one.like}
            for one in diagnosis.suspects
        ],
        "not_ruled_out": [fault.name for fault in diagnosis.not_followed],
        "probe": _test(diagnosis, diagnosis.probe),
        "flips": _test(diagnosis, diagnosis.flips),
    }
    return {"edgewright": version, "circuits": [circuit]}


def _test(diagnosis: Diagnosis, test: Test | None) -> Record | None:
    if test is None:
        return None
    nets = diagnosis.checklist.design.netlist.nets
    return {
        "flips": [{"input": nets[flip.net].name, "to": int(flip.up)} for flip in test.flips],
        "read": [nets[net].name for net in test.nets] or [test.probed],
        "left": [
            {"reads": ["no level" if level is None else int(level) for level in read], "suspects": list(left)}
            for read, left in test.left.items()
        ],
    }
