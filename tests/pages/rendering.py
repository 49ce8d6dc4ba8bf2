"""Every page from made-up contexts, rendered without a request."""

from collections.abc import Callable
from pathlib import Path

from server.actions.read_run_claims import read_run_claims
from server.actions.view_version import VersionView
from server.model.changes import RunVersion, VersionFigures
from server.model.measured import Metric
from server.model.views import Page
from server.model.words import MetricName
from server.pages.appliance import appliance_page
from server.pages.catalogue import catalogue_page
from server.pages.catalogue_filter import CatalogueForm, read_filter
from server.pages.figure import figure_page
from server.pages.front import front_page
from server.pages.methods import methods_page
from server.pages.prose import DATA_LICENCE, SAFETY
from server.pages.run import run_page
from server.pages.side_by_side import side_by_side_page
from server.pages.templating import Site, render_text
from server.pages.version import version_page
from tests.pages import samples

SITE = Site(origin="http://ledger.test", nonce="n", tester_name=None, csrf_token="")
CATEGORIES = [("wet/dry vacuum", 3)]
NAMES = ("Millbeck", "Tollan", "Quarrow")


def front(name: str = "Millbeck", *, is_empty: bool = False) -> str:
    rows = [] if is_empty else [samples.listing_row(name, n, 1 / n) for n in (1, 2, 3)]
    runs = [] if is_empty else [samples.run_row(name, n) for n in (1, 2, 3)]
    page = front_page(rows=rows, runs=runs, categories=[] if is_empty else CATEGORIES)
    return render_text("front.html", page=page, site=SITE)


def catalogue(name: str = "Millbeck", *, is_empty: bool = False) -> str:
    rows = () if is_empty else tuple(samples.listing_row(name, n) for n in range(1, 6))
    form = CatalogueForm(text=name)
    page = catalogue_page(
        form=form,
        wanted=read_filter(form, None)[0],
        found=Page(rows, None if is_empty else "next-cursor"),
        categories=CATEGORIES,
        problems=(),
    )
    return render_text("catalogue.html", page=page, site=SITE)


def appliance(name: str = "Millbeck", *, is_bounded: bool = True) -> str:
    view = samples.appliance_view(name, is_bounded=is_bounded)
    assert view.best is not None
    page = appliance_page(view, readings=read_run_claims(view.best))
    return render_text("appliance.html", page=page, site=SITE)


def run(name: str = "Millbeck", *, is_bounded: bool = True) -> str:
    view = samples.run_view(name, is_bounded=is_bounded)
    page = run_page(view, readings=read_run_claims(view), viewer=None)
    return render_text("run.html", page=page, site=SITE)


def figure(name: str = "Millbeck", *, is_bounded: bool = True) -> str:
    view = samples.run_view(name, is_bounded=is_bounded)
    page = figure_page(
        view,
        name="shaft_power_max_steady",
        readings=read_run_claims(view),
        original=Path("no-such-file"),
    )
    return render_text("figure.html", page=page, site=SITE)


def version(
    name: str = "Millbeck", *, change: Callable[[Metric], Metric] = lambda metric: metric
) -> str:
    """Version 1 of two, with one figure changed by `change`."""
    view = samples.run_view(name)
    assert view.reduction is not None
    power = MetricName.SHAFT_POWER_MAX_STEADY
    old = {**view.reduction.metrics, power: change(view.reduction.metrics[power])}
    first, second = (
        RunVersion(number, f"brake-{number}", samples.AT, number == 2, was_published=True)
        for number in (1, 2)
    )
    shown = VersionView(view, VersionFigures(first, old, view.reduction.findings))
    page = version_page(shown, [second, first])
    return render_text("version.html", page=page, site=SITE)


def side_by_side(names: tuple[str, ...] = NAMES) -> str:
    views = [
        samples.appliance_view(name, number=n, scale=1 + 0.2 * n)
        for n, name in enumerate(names, start=1)
    ]
    page = side_by_side_page(views, text="", found=[samples.listing_row("Lune", 9)], problems=())
    return render_text("side_by_side.html", page=page, site=SITE)


def methods() -> str:
    return render_text("methods.html", page=methods_page(), site=SITE)


def safety() -> str:
    return render_text("prose.html", page=SAFETY, site=SITE)


def data_licence() -> str:
    return render_text("prose.html", page=DATA_LICENCE, site=SITE)


PAGES = {
    "front": front,
    "catalogue": catalogue,
    "appliance": appliance,
    "run": run,
    "figure": figure,
    "version": version,
    "side-by-side": side_by_side,
    "methods": methods,
    "safety": safety,
    "data-licence": data_licence,
}
