"""ETag and 304; tables as CSV."""

import csv
import io

import pytest
from fastapi.testclient import TestClient

from server.app import create_app
from tests.api.test_resources import APPLIANCE

V1 = "/api/v1"


@pytest.fixture
def addresses(run: dict) -> list[str]:
    appliance = f"{V1}/appliances/{run['appliance']['id']}"
    return [
        f"{V1}/appliances",
        appliance,
        f"{appliance}/plates",
        f"{appliance}/claims",
        f"{appliance}/runs",
        f"{V1}/runs",
        f"{V1}/runs/{run['id']}",
        f"{V1}/runs/{run['id']}/versions",
        f"{V1}/runs/{run['id']}/versions/1",
        f"{V1}/rigs/{run['rig']['id']}",
        f"{V1}/specimens/{run['specimen']['id']}",
    ]


def test_what_has_not_changed_is_not_sent_again(client, addresses) -> None:
    for address in addresses:
        first = client.get(address)
        again = client.get(address, headers={"If-None-Match": first.headers["etag"]})
        assert (again.status_code, again.content) == (304, b""), address
        assert again.headers["etag"] == first.headers["etag"]
        assert again.headers["cache-control"] == first.headers["cache-control"]
        listed = f'"other", {first.headers["etag"]}'
        assert client.get(address, headers={"If-None-Match": listed}).status_code == 304
        assert client.get(address, headers={"If-None-Match": 'W/"other"'}).status_code == 200


def test_an_unchanged_run_costs_one_statement(client, sqlite_settings, run, count_queries) -> None:
    """Also where no answers are kept."""
    app = create_app(sqlite_settings.model_copy(update={"kept_bytes": 0}))
    with TestClient(app) as forgetful:
        for address in (f"{V1}/runs/{run['id']}", f"{V1}/appliances/{run['appliance']['id']}"):
            etag = client.get(address).headers["etag"]
            with count_queries(app.state.resources.engine) as queries:
                answer = forgetful.get(address, headers={"If-None-Match": etag})
            assert answer.status_code == 304
            assert len(queries) == 1


def test_a_change_gives_another_mark(client, sender, run) -> None:
    appliance = f"{V1}/appliances/{run['appliance']['id']}"
    watched = [appliance, f"{V1}/runs/{run['id']}", f"{V1}/appliances", f"{appliance}/claims"]
    before = [client.get(address).headers["etag"] for address in watched]
    claim = {"value": "9 hp", "wording": "9 HP"}
    assert client.post(f"{appliance}/claims", json=claim, headers=sender).status_code == 201
    after = [client.get(address).headers["etag"] for address in watched]
    assert all(old != new for old, new in zip(before, after, strict=True))


def test_what_depends_on_who_asks_is_not_shared(client, sender, run) -> None:
    address = f"{V1}/runs/{run['id']}"
    mine, open_to_all = client.get(address, headers=sender), client.get(address)
    assert mine.headers["cache-control"] == "private, no-cache"
    assert open_to_all.headers["cache-control"] == "public, no-cache"
    assert mine.headers["etag"] != open_to_all.headers["etag"]


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_figures_as_csv_are_those_of_the_json(client, run) -> None:
    answer = client.get(f"{V1}/runs/{run['id']}/metrics?format=csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    assert 'rel="license"' in answer.headers["link"]
    shown = {row["metric"]: row for row in rows_of(answer.text)}
    for name, metric in run["results"]["metrics"].items():
        row = shown[name]
        assert (float(row["value"]) if row["value"] else None) == metric["value"]
        assert row["lower_bound"] == str(metric["lower_bound"]).lower()
        assert row["method_version"] == run["results"]["method_version"]


@pytest.mark.parametrize("part", ["points", "curves", "trace"])
def test_curves_and_points_as_csv(client, run, part) -> None:
    address = f"{V1}/runs/{run['id']}/{part}"
    as_json = client.get(address).json()
    rows = rows_of(client.get(f"{address}?format=csv").text)
    if part == "trace":
        assert len(rows) == sum(len(c["time"]) for c in as_json["channels"])
    elif part == "curves":
        assert len(rows) == sum(len(c["torque"]) for c in as_json["items"])
    else:
        assert [float(r["torque [N m]"]) for r in rows] == [p["torque"] for p in as_json["items"]]


def test_a_list_as_csv_names_its_next_page(client, sender) -> None:
    for n in range(3):
        client.post(f"{V1}/appliances", json={**APPLIANCE, "model": f"RT {n}"}, headers=sender)
    answer = client.get(f"{V1}/appliances?format=csv&limit=2&sort=maker")
    assert [row["model"] for row in rows_of(answer.text)] == ["RT 0", "RT 1"]
    (link,) = [one for one in answer.headers["link"].split(", ") if 'rel="next"' in one]
    following = client.get(link.split(">")[0].removeprefix("<"))
    assert [row["model"] for row in rows_of(following.text)] == ["RT 2"]


def test_a_name_is_never_a_formula(client, sender) -> None:
    body = {**APPLIANCE, "maker": '=HYPERLINK("x")', "model": "@A1"}
    assert client.post(f"{V1}/appliances", json=body, headers=sender).status_code == 201
    (row,) = rows_of(client.get(f"{V1}/appliances?format=csv").text)
    assert (row["maker"], row["model"]) == ('\'=HYPERLINK("x")', "'@A1")
