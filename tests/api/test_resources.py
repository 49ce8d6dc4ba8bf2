"""Each resource: made, read, listed, revised; who may see what; what each shape shows."""

import pytest

from server.api import (
    command_sign_ins,
    desk_shapes,
    motor_shapes,
    people,
    run_shapes,
    shapes,
    thing_shapes,
)

V1 = "/api/v1"
APPLIANCE = {
    "maker": "Harrowgate",
    "model": "RT 5",
    "category": "router",
    "plate": {"voltage": "230 V", "supply": "AC", "frequency": "50 Hz", "power": "1100 W"},
    "claims": [{"value": "1100 W", "wording": "1100 W motor"}],
}
RIG = {
    "name": "Eddy rig",
    "absorber": "eddy-current brake",
    "arm": "12 cm",
    "drag": [["1000 rpm", "2 mN m"], ["0 rpm", "1 mN m"]],
    "instruments": [{"channel": "torque", "of_reading": "0.5 %", "range": "2 N m"}],
}

PUBLIC_FIELDS = {
    shapes.QuantityOut: "value unit typed",
    shapes.MetricOut: (
        "value unit standard_uncertainty lower_bound reason interval degrees_of_freedom method "
        "budget"
    ),
    shapes.IntervalOut: "low high coverage",
    shapes.BudgetLineOut: "component standard_uncertainty distribution sensitivity share",
    shapes.PlateOut: (
        "revision voltage supply frequency current power speed duty motor_family circuit"
    ),
    shapes.ClaimOut: "id quantity value wording where_printed footnote seen_on",
    shapes.ProblemOut: "type title status detail problems request_id",
    shapes.ProblemPlace: "message remedy row column field",
    thing_shapes.ListingOut: (
        "id slug page maker model model_number category printed_power runs specimens testers run "
        "metrics ratio ratio_standard_uncertainty updated_at"
    ),
    thing_shapes.ApplianceNameOut: "id slug page maker model category",
    thing_shapes.MeaningOut: (
        "meaning value standard_uncertainty ratio reason lower_bound ratio_standard_uncertainty "
        "probability_reached verdict guard_band"
    ),
    thing_shapes.ClaimReadingOut: (
        "wording quantity value meanings implied_current rotor_energy_time"
    ),
    thing_shapes.ChangeOut: "at act actor note",
    thing_shapes.FiguresOut: "run method_version metrics claims",
    thing_shapes.ApplianceOut: (
        "id slug page maker model category model_number market produced plate claims figures "
        "specimens testers changes updated_at"
    ),
    thing_shapes.SpecimenOut: "id appliance label condition hours brushes_run_in obtained",
    thing_shapes.InstrumentOut: (
        "channel name of_reading range of_range digits resolution calibrated distribution "
        "coverage_factor temperature_coefficient reference_temperature"
    ),
    thing_shapes.DragOut: "speed torque",
    thing_shapes.RigOut: (
        "id slug revision name absorber arm inertia rotor_inertia drag drag_before_sensor "
        "pulses_per_revolution averaging meter_bandwidth meter_true_rms meter_real_power "
        "arm_uncertainty inertia_uncertainty drag_uncertainty arm_angle arm_angle_uncertainty "
        "pivot_friction lead_resistance lead_resistance_uncertainty instruments"
    ),
    run_shapes.FindingOut: "code severity message remedy where evidence",
    run_shapes.ColumnOut: "position header channel unit reason",
    run_shapes.LagOut: "seconds applied reason",
    run_shapes.ResultsOut: (
        "metrics findings claims columns lag method_version kind motor winding_temperature "
        "rotor_inertia drag operating_speed shaft_power_in_use agreement_z"
    ),
    run_shapes.WindingOut: (
        "temperature standard_uncertainty rise rise_standard_uncertainty unit material standard "
        "constant reason"
    ),
    run_shapes.DragFoundOut: (
        "value unit standard_uncertainty lower_bound reason interval degrees_of_freedom method "
        "budget speed coefficients coefficient_uncertainties coefficient_units"
    ),
    motor_shapes.MotorOut: (
        "family model reason method_version parameters covariance runner_up models residuals "
        "losses normalised curve warming notes"
    ),
    motor_shapes.MotorParameterOut: "value standard_uncertainty unit identified derived",
    motor_shapes.MotorModelOut: "model family criterion_above_chosen parameters",
    motor_shapes.MotorResidualsOut: "channel unit residual scatter rms_of_largest weight",
    motor_shapes.LossPartOut: "kinds power standard_uncertainty",
    motor_shapes.PointLossesOut: (
        "torque speed input_power shaft_power parts beyond beyond_standard_uncertainty"
    ),
    motor_shapes.NormalisedOut: (
        "name basis value standard_uncertainty as_tested tested_voltage voltage "
        "winding_temperature beyond reason"
    ),
    motor_shapes.MotorCurveOut: "speed torque current input_power beyond",
    motor_shapes.WarmingOut: (
        "after speed_change speed_change_standard_uncertainty current_change "
        "current_change_standard_uncertainty"
    ),
    run_shapes.FileOut: "name sha256 bytes",
    run_shapes.RunRowOut: (
        "id page state kind tested_on created_at tester specimen rig appliance appliance_name "
        "metrics"
    ),
    run_shapes.RunOut: (
        "id page state revision kind source tested_on ambient supply_note added_inertia "
        "cold_resistance hot_resistance cold_temperature reference_temperature notes tester "
        "appliance specimen rig plate file rows stale failure results changes created_at updated_at"
    ),
    run_shapes.RunStatusOut: "id state failure run page",
    run_shapes.NamedMetricOut: (
        "value unit standard_uncertainty lower_bound reason interval degrees_of_freedom method "
        "budget name"
    ),
    run_shapes.VersionOut: "number page method_version made_at is_current was_published",
    run_shapes.VersionFiguresOut: (
        "number page method_version made_at is_current was_published metrics findings"
    ),
    run_shapes.PointOut: (
        "start end first_row last_row is_dwell samples effective_samples torque speed shaft_power "
        "voltage current power apparent_power power_factor efficiency u_torque u_speed "
        "u_shaft_power u_current u_power u_efficiency"
    ),
    run_shapes.CurveOut: "quantity unit fit torque value standard_uncertainty beyond",
    run_shapes.SegmentOut: "kind start end first_row last_row",
    run_shapes.TraceChannelOut: "channel unit time value",
    run_shapes.TraceOut: "channels segments",
    run_shapes.ComparedOut: (
        "appliance plate run method_version metrics claims curves chance_of_highest"
    ),
    command_sign_ins.CommandSignInOut: "code secret address expires_in_s poll_s",
    command_sign_ins.CommandTokenOut: "token",
    people.TokenOut: "id label scopes created_at expires_at revoked_at used_at",
    people.MeOut: "id name scopes consented_licence ties",
    desk_shapes.DeskItemOut: (
        "kind source id since appliance_id appliance category run_id by findings version "
        "assigned_to is_barred"
    ),
    desk_shapes.RemarkOut: "field text revision by at",
    desk_shapes.SimilarOut: ("name value basis typical low high n_runs off is_far_off reason"),
    desk_shapes.RecordOut: "id name published returned withdrawn waiting good_standing ties",
    desk_shapes.CaseOut: (
        "id state version held first_run needs_look not_before accepted_at assigned_to barred "
        "remarks similar tester"
    ),
    desk_shapes.ConcernMadeOut: "id state",
    desk_shapes.ConcernOut: (
        "id kind state figure appliance_id run_id claim_id text contact by answer created_at "
        "decided_at version"
    ),
    desk_shapes.StatementOut: ("id claim_id kind text source stated_on by removed_at reason"),
}


@pytest.mark.parametrize("shape", PUBLIC_FIELDS, ids=lambda shape: shape.__name__)
def test_a_shape_shows_these_fields_and_no_other(shape) -> None:
    assert list(shape.model_fields) == PUBLIC_FIELDS[shape].split()


def test_every_shape_is_in_that_table() -> None:
    shown = {
        shape
        for module in (
            shapes,
            thing_shapes,
            run_shapes,
            motor_shapes,
            people,
            command_sign_ins,
            desk_shapes,
        )
        for shape in vars(module).values()
        # A list of a shape shows what the shape shows.
        if isinstance(shape, type) and issubclass(shape, shapes.Out) and "[" not in shape.__name__
    }
    assert shown - {shapes.Out, shapes.ListOut} == set(PUBLIC_FIELDS)


def test_an_appliance_is_made_and_read(client, sender) -> None:
    made = client.post(f"{V1}/appliances", json=APPLIANCE, headers=sender)
    assert made.status_code == 201
    appliance = made.json()
    assert client.get(made.headers["location"]).json() == appliance
    assert appliance["plate"]["voltage"] == {"value": 230.0, "unit": "V", "typed": "230 V"}
    assert appliance["plate"]["current"] is None
    assert [claim["wording"] for claim in appliance["claims"]] == ["1100 W motor"]
    assert appliance["figures"] is None
    listed = client.get(f"{V1}/appliances").json()["items"]
    assert [row["id"] for row in listed] == [appliance["id"]]
    again = client.post(f"{V1}/appliances", json=APPLIANCE, headers=sender)
    assert again.status_code == 409


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"plate": {"voltage": "230"}}, "plate.voltage"),
        ({"plate": {"voltage": "230 apples"}}, "plate.voltage"),
        ({"claims": [{"value": "many", "wording": "much"}]}, "claims[1].value"),
        ({"maker": "  "}, "maker"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_value_that_cant_be_used_is_named_as_it_was_sent(client, sender, change, field) -> None:
    answer = client.post(f"{V1}/appliances", json={**APPLIANCE, **change}, headers=sender)
    assert answer.status_code == 422
    assert [one["field"] for one in answer.json()["problems"]] == [field]


def test_a_plate_is_kept_in_revisions(client, sender, run) -> None:
    address = f"{V1}/appliances/{run['appliance']['id']}/plates"
    revised = client.post(address, json={"voltage": "120 V", "current": "9 A"}, headers=sender)
    assert (revised.status_code, revised.json()["revision"]) == (201, 2)
    listed = client.get(address).json()["items"]
    assert [(one["revision"], one["current"]["value"]) for one in listed] == [(2, 9.0), (1, 10.2)]
    # The run keeps the plate that its figures were made with.
    assert client.get(f"{V1}/runs/{run['id']}").json()["plate"]["current"]["value"] == 10.2


def test_claims_are_noted_and_listed(client, sender, run) -> None:
    address = f"{V1}/appliances/{run['appliance']['id']}/claims"
    claim = {"value": "1.2 hp", "wording": "1.2 HP continuous", "where_printed": "manual, page 3"}
    made = client.post(address, json=claim, headers=sender)
    assert made.status_code == 201
    assert made.json()["value"]["value"] == pytest.approx(1.2 * 745.6998715822702)
    assert client.get(made.headers["location"]).json() == made.json()
    wordings = [one["wording"] for one in client.get(address).json()["items"]]
    assert sorted(wordings) == ["1.2 HP continuous", "5.0 Peak HP*"]
    assert len(client.get(f"{V1}/claims", params={"quantity": "power"}).json()["items"]) == 2
    # A claim noted later is read with the figures of earlier runs.
    results = client.get(f"{V1}/runs/{run['id']}").json()["results"]
    assert len(results["claims"]) == 2


def test_specimens_are_ones_own(client, sender, stranger, run) -> None:
    address = f"{V1}/appliances/{run['appliance']['id']}/specimens"
    made = client.post(address, json={"label": "B", "hours": 3.5}, headers=sender)
    assert made.status_code == 201
    assert client.get(made.headers["location"]).json()["label"] == "B"
    assert len(client.get(address, headers=sender).json()["items"]) == 2
    assert client.get(address, headers=stranger).json()["items"] == []
    assert client.get(address).status_code == 401


def test_rigs_are_kept_in_revisions(client, sender, stranger) -> None:
    made = client.post(f"{V1}/rigs", json=RIG, headers=sender)
    assert made.status_code == 201
    rig = made.json()
    assert rig["arm"] == {"value": 0.12, "unit": "m", "typed": "12 cm"}
    assert [point["torque"] for point in rig["drag"]] == [0.001, 0.002]
    assert rig["instruments"][0]["of_reading"] == 0.005
    address = made.headers["location"]
    changed = client.post(f"{address}/revisions", json={**RIG, "arm": "13 cm"}, headers=sender)
    assert (changed.status_code, changed.json()["revision"]) == (201, 2)
    assert client.get(address).json() == changed.json()
    listed = client.get(f"{address}/revisions").json()["items"]
    assert [one["arm"]["value"] for one in listed] == [0.13, 0.12]
    assert [one["id"] for one in client.get(f"{V1}/rigs", headers=sender).json()["items"]] == [
        rig["id"]
    ]
    assert client.get(f"{V1}/rigs", headers=stranger).json()["items"] == []
    barred = client.post(f"{address}/revisions", json=RIG, headers=stranger)
    assert barred.status_code == 403
    wrong = client.post(f"{V1}/rigs", json={**RIG, "arm": "12"}, headers=sender)
    assert [one["field"] for one in wrong.json()["problems"]] == ["arm"]


def test_what_is_not_published_is_seen_by_its_tester_alone(client, sender, stranger, run) -> None:
    address = f"{V1}/runs/{run['id']}"
    assert client.get(address).status_code == 200
    taken = client.post(
        f"{address}/withdrawal", json={"reason": "The arm was measured wrongly."}, headers=sender
    )
    assert (taken.status_code, taken.json()["state"]) == (201, "withdrawn")
    parts = ("", "/status", "/metrics", "/findings", "/points", "/curves", "/trace", "/file")
    for part in (*parts, "/versions", "/versions/1"):
        assert client.get(address + part).status_code == 404
        assert client.get(address + part, headers=stranger).status_code == 404
        assert client.get(address + part, headers=sender).status_code == 200
    listed = f"{V1}/appliances/{run['appliance']['id']}/runs"
    assert client.get(listed).json()["items"] == []
    assert len(client.get(listed, headers=sender).json()["items"]) == 1
    assert client.get(f"{V1}/appliances").json()["items"][0]["run"] is None
    again = client.post(f"{address}/withdrawal", json={"reason": "Once more"}, headers=sender)
    assert again.status_code == 409


def test_only_its_sender_withdraws_a_run(client, stranger, run) -> None:
    body = {"reason": "I don't like it"}
    answer = client.post(f"{V1}/runs/{run['id']}/withdrawal", json=body, headers=stranger)
    assert answer.status_code == 403


def test_tokens_are_read_and_revoked_by_their_owner(client, sender, stranger) -> None:
    me = client.get(f"{V1}/testers/me", headers=sender).json()
    assert (me["name"], me["scopes"]) == ("Ada Quill", ["send"])
    (token,) = client.get(f"{V1}/tokens", headers=sender).json()["items"]
    assert "bl_" not in str(token)
    assert client.delete(f"{V1}/tokens/{token['id']}", headers=stranger).status_code == 404
    assert client.delete(f"{V1}/tokens/{token['id']}", headers=sender).status_code == 204
    assert client.get(f"{V1}/testers/me", headers=sender).status_code == 401
    # A token that was sent must be good, even where none is needed.
    assert client.get(f"{V1}/runs", headers=sender).status_code == 401


def test_side_by_side(client, sender, run) -> None:
    other = client.post(f"{V1}/appliances", json=APPLIANCE, headers=sender).json()
    ids = [run["appliance"]["id"], other["id"]]
    answer = client.get(f"{V1}/compare", params={"appliance": ids})
    first, second = answer.json()["items"]
    assert [first["appliance"]["id"], second["appliance"]["id"]] == ids
    own = run["results"]["metrics"]
    assert any(metric["budget"] for metric in own.values())
    # The budgets come with the run's own figures.
    assert first["metrics"] == {name: {**metric, "budget": []} for name, metric in own.items()}
    assert first["method_version"] == run["results"]["method_version"]
    assert first["curves"]
    assert (second["run"], second["metrics"]) == (None, {})
    assert first["chance_of_highest"] is second["chance_of_highest"] is None  # one is measured
    assert client.get(f"{V1}/compare", params={"appliance": ids[:1]}).status_code == 422
    assert client.get(f"{V1}/compare", params={"appliance": ids * 4}).status_code == 422
    missing = client.get(f"{V1}/compare", params={"appliance": [ids[0], "0000000000"]})
    assert missing.status_code == 404


def test_lists_go_on_where_the_page_before_ended(client, sender) -> None:
    for n in range(5):
        body = {**APPLIANCE, "model": f"RT {n}"}
        assert client.post(f"{V1}/appliances", json=body, headers=sender).status_code == 201
    seen, cursor = [], None
    for _ in range(5):
        params = {"sort": "maker", "limit": 2, **({"cursor": cursor} if cursor else {})}
        page = client.get(f"{V1}/appliances", params=params).json()
        seen += [row["model"] for row in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert seen == [f"RT {n}" for n in range(5)]


def test_the_catalogue_is_filtered(client, sender, run) -> None:
    client.post(f"{V1}/appliances", json=APPLIANCE, headers=sender)

    def models(**params: object) -> list[str]:
        answer = client.get(f"{V1}/appliances", params=params)
        assert answer.status_code == 200
        return sorted(row["model"] for row in answer.json()["items"])

    assert models() == ["RT 5", "WD-30"]
    assert models(category="router") == ["RT 5"]
    assert models(text="mill") == ["WD-30"]
    assert models(printed_power_min=2000) == ["WD-30"]
    assert models(printed_power_max=2000) == ["RT 5"]
    assert models(shaft_power_max_steady_min=400, shaft_power_max_steady_max=500) == ["WD-30"]
    assert models(shaft_power_max_steady_min=1000) == []
    assert models(maker="nobody") == []
