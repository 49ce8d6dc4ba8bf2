"""Digests made before a field was there still name the same thing."""

from dataclasses import fields

from server.model.bench import Instrument, Plate, Rig, RunDetails
from server.model.later_fields import LATER_FIELDS
from server.model.results import ReductionOptions
from server.model.words import Channel, RunKind
from server.reduction import input_digest
from server.store.matching import rig_sha256

RIG = Rig(
    arm_m=0.1,
    drag=((0.0, 0.001),),
    instruments=(Instrument(Channel.TORQUE, of_reading=0.005),),
)


def digest(rig: Rig) -> str:
    return input_digest(
        "ab" * 32,
        kind=RunKind.BRAKE,
        plate=Plate(voltage_v=120.0),
        rig=rig,
        options=ReductionOptions(tested_on="2026-11-02"),
    )


def test_a_description_without_later_fields_has_the_digest_of_before_them() -> None:
    # Both made by the code before temperature coefficients, arm angles and leads were there.
    assert digest(RIG) == "039be3b9addf0d0092c662746a5a4e340dad596f1054d09d5d8c547e59618083"
    assert rig_sha256(RIG) == "501dd5c7b7f3da49b928dd7452ad3eadf18fbe45acb1af613ffdcdde4d59de02"


def test_each_later_field_of_a_rig_changes_both_digests() -> None:
    for field in fields(Rig):
        if field.name in LATER_FIELDS:
            stated = Rig(arm_m=0.1, drag=RIG.drag, instruments=RIG.instruments, **{field.name: 0.1})
            assert digest(stated) != digest(RIG), field.name
            assert rig_sha256(stated) != rig_sha256(RIG), field.name


def test_later_fields_are_fields() -> None:
    known = {f.name for kind in (Rig, Instrument, RunDetails) for f in fields(kind)}
    assert known >= LATER_FIELDS
