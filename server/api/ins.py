"""What a client sends to the model's dataclasses, through the reader of the bench file."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import BaseModel

from server.api.shapes import ClaimIn, PlateIn
from server.api.thing_shapes import ApplianceIn, RigIn, SpecimenIn
from server.errors import InvalidInput, UnusableBench
from server.model.bench import Appliance, Bench, Claim, Plate, Rig, Specimen


def appliance(sent: ApplianceIn) -> tuple[Appliance, Plate, tuple[Claim, ...]]:
    parts = {
        "plate": _given(sent.plate) if sent.plate is not None else {},
        "claim": [_given(one) for one in sent.claims],
    }
    bench = _read(parts, {"plate.": "plate.", "claim[": "claims["})
    made = Appliance(
        maker=sent.maker,
        model=sent.model,
        category=sent.category,
        model_number=sent.model_number,
        market=sent.market,
        produced=sent.produced,
    )
    return made, bench.plate, bench.claims


def plate(sent: PlateIn) -> Plate:
    return _read({"plate": _given(sent)}, {"plate.": ""}).plate


def claim(sent: ClaimIn) -> Claim:
    (made,) = _read({"claim": [_given(sent)]}, {"claim[1].": ""}).claims
    return made


def specimen(sent: SpecimenIn) -> Specimen:
    return Specimen(**sent.model_dump())


def rig(sent: RigIn) -> Rig:
    described = _given(sent)
    instruments = described.pop("instruments", [])
    parts = {"rig": described, "instrument": instruments}
    return _read(parts, {"rig.": "", "instrument[": "instruments["}).rig


def _given(sent: BaseModel) -> dict[str, Any]:
    return sent.model_dump(exclude_none=True)


def _read(parts: Mapping[str, Any], names: Mapping[str, str]) -> Bench:
    """The bench of some parts; problems are named by the fields that were sent."""
    from server.intake import bench_from_mapping  # its tables load with the first that is sent

    try:
        return bench_from_mapping(parts, name="request")
    except UnusableBench as error:
        problems = [replace(one, field=_renamed(one.field, names)) for one in error.problems]
        raise InvalidInput("request", problems) from error


def _renamed(field: str | None, names: Mapping[str, str]) -> str | None:
    for start, by in names.items():
        if field is not None and field.startswith(start):
            return by + field.removeprefix(start)
    return field
