"""An appliance's figures pooled over its testers, over HTTP."""

import pytest

from server.api import pooled, shapes
from server.model.methods import METHOD_VERSIONS
from server.model.words import RunKind
from server.wording.pooled import METHOD
from tests.api.logs import BENCH, parts, small_log

V1 = "/api/v1"
PUBLIC_FIELDS = {
    pooled.PooledIntervalOut: "low high coverage",
    pooled.PooledFigureOut: "value standard_uncertainty interval degrees_of_freedom",
    pooled.ConsistencyOut: (
        "tester n value standard_uncertainty standard_deviation h k critical_k zeta flagged"
    ),
    pooled.CriticalOut: "h k",
    pooled.ComponentOut: "level sd degrees_of_freedom includes reason",
    pooled.PooledRunOut: (
        "run page tester specimen tested_on value standard_uncertainty method_version"
    ),
    pooled.LeftOutOut: "run page tester reason",
    pooled.PooledMetricOut: (
        "metric unit runs left_out shared_uncertainty n_testers n_results pooled "
        "between_tester_sd q q_probability i_squared birge_ratio repeatability_sd "
        "reproducibility_sd consistency critical components findings reasons method method_versions"
    ),
}


@pytest.mark.parametrize("shape", PUBLIC_FIELDS, ids=lambda shape: shape.__name__)
def test_a_shape_shows_these_fields_and_no_other(shape) -> None:
    assert list(shape.model_fields) == PUBLIC_FIELDS[shape].split()


def test_every_shape_is_in_that_table() -> None:
    shown = {s for s in vars(pooled).values() if isinstance(s, type) and issubclass(s, shapes.Out)}
    assert {s for s in shown if not issubclass(s, shapes.ListOut)} - {shapes.Out} == set(
        PUBLIC_FIELDS
    )


def by_metric(answer) -> dict[str, dict]:
    assert answer.status_code == 200, answer.text
    assert answer.json()["next"] is None
    return {one["metric"]: one for one in answer.json()["items"]}


def test_one_run_is_one_run_and_two_testers_are_pooled(client, run, stranger) -> None:
    address = f"{V1}/appliances/{run['appliance']['id']}/pooled"
    alone = by_metric(client.get(address))["shaft_power_max_steady"]
    assert (alone["n_testers"], alone["n_results"]) == (1, 1)
    assert alone["pooled"]["interval"] == {"low": None, "high": None, "coverage": 0.95}
    assert alone["reasons"]["q"].startswith("one tester only")

    weaker = small_log(torques_nm=tuple(0.09 * i for i in range(9)))
    sent = client.post(f"{V1}/runs", files=parts(weaker, BENCH), headers=stranger)
    assert sent.status_code == 201, sent.text
    answer = client.get(address)
    both = by_metric(answer)["shaft_power_max_steady"]
    assert (both["n_testers"], both["unit"], both["method"]) == (2, "W", METHOD)
    assert [one["run"] for one in both["runs"]] == [run["id"], sent.json()["id"]]
    assert {one["tester"] for one in both["consistency"]} == {"Ada Quill", "Bo Marsh"}
    assert both["method_versions"] == [METHOD_VERSIONS[RunKind.BRAKE]]
    assert {one["method_version"] for one in both["runs"]} == set(both["method_versions"])
    low, high = both["pooled"]["interval"]["low"], both["pooled"]["interval"]["high"]
    assert low < both["pooled"]["value"] < high
    etag = answer.headers["etag"]
    assert client.get(address, headers={"If-None-Match": etag}).status_code == 304

    gone = client.post(f"{V1}/runs/{sent.json()['id']}/withdrawal", json={"reason": "Wrong arm."},
                       headers=stranger)  # fmt: skip
    assert gone.status_code == 201, gone.text
    assert by_metric(client.get(address))["shaft_power_max_steady"]["n_testers"] == 1


def test_an_appliance_without_runs_pools_nothing_and_an_unknown_one_is_not_found(
    client, sender
) -> None:
    described = {"maker": "Harrowgate", "model": "RT 5", "category": "router"}
    made = client.post(f"{V1}/appliances", json=described, headers=sender).json()
    assert client.get(f"{V1}/appliances/{made['id']}/pooled").json()["items"] == []
    assert client.get(f"{V1}/appliances/zzzzzzzzzz/pooled").status_code == 404
