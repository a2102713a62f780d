"""Dashboard, alarms and scraping name only what is counted, and every alarm is explained."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from prometheus_client import generate_latest
from prometheus_client.parser import text_string_to_metric_families

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.unit.test_deploy import COMPOSE, image_environment

DEPLOY = Path(__file__).parents[2] / "deploy"
WATCH = DEPLOY / "watch"
DASHBOARD: dict[str, Any] = json.loads((WATCH / "dashboard.json").read_bytes())
GROUPS: list[dict[str, Any]] = yaml.safe_load((WATCH / "rules.yaml").read_text())["groups"]
ALERTS = [rule for group in GROUPS for rule in group["rules"]]
README = (DEPLOY / "README.md").read_text()

FUNCTIONS = {"sum", "rate", "increase", "histogram_quantile", "max", "count", "by"}
# Prometheus adds these itself: whether it could scrape, and where.
ITS_OWN = {"up"}
ITS_LABELS = {"instance", "job", "le"}
BEGIN_LATER = {
    "loopmargin_http_requests": {"route", "method", "status"},
    "loopmargin_http_request_duration_seconds": {"route", "method"},
    "loopmargin_computation_duration_seconds": {"question"},
}
DURATION = re.compile(r"\d+[smhd]")


def counted() -> dict[str, set[str]]:
    """Give every sample that a fresh application may ever show, with the labels it has."""
    registry = create_app(Settings()).state.meters.registry
    found: dict[str, set[str]] = {}
    for family in text_string_to_metric_families(generate_latest(registry).decode()):
        for sample in family.samples:
            found.setdefault(sample.name, set()).update(sample.labels)
    # Series that begin with the first request or the first calculation.
    for family, labels in BEGIN_LATER.items():
        assert {family, f"{family}_total"} & described(registry)
        for ending in ("", "_total", "_bucket", "_sum", "_count"):
            found.setdefault(f"{family}{ending}", set()).update(labels)
    return found


def described(registry: Any) -> set[str]:  # noqa: ANN401 - the library's
    """Name the families that are declared, with or without a series."""
    return {
        line.split()[2]
        for line in generate_latest(registry).decode().splitlines()
        if line.startswith("# TYPE")
    }


def expressions() -> Iterator[tuple[str, str]]:
    """List every expression with the place it stands at."""
    for panel in DASHBOARD["panels"]:
        for target in panel.get("targets", ()):
            yield f"panel {panel['title']}", target["expr"]
    for alert in ALERTS:
        yield f"alert {alert['alert']}", alert["expr"]


COUNTED = counted()
EXPRESSIONS = list(expressions())


@pytest.mark.parametrize(("place", "text"), EXPRESSIONS, ids=[place for place, _ in EXPRESSIONS])
def test_an_expression_names_what_is_counted(place: str, text: str) -> None:
    """Its metrics, and labels that these have; brackets close."""
    bare = re.sub(r'"[^"]*"|\[[^\]]*\]', "", text)
    labels = {
        word
        for inner in re.findall(r"by \(([^)]*)\)|\{([^}]*)\}", bare)
        for word in re.findall(r"[a-z_]+", " ".join(inner))
    }
    names = set(re.findall(r"[a-z_]+", re.sub(r"by \([^)]*\)|\{[^}]*\}", "", bare))) - FUNCTIONS

    assert names, place
    assert names <= COUNTED.keys() | ITS_OWN
    known = {label for name in names - ITS_OWN for label in COUNTED[name]}
    assert labels <= known | ITS_LABELS
    assert all(bare.count(left) == bare.count(right) for left, right in ("()", "{}"))


def test_words_asked_for_are_words_counted() -> None:
    """A label that is compared with a word has that word."""
    wanted = {
        (label, word)
        for _, text in EXPRESSIONS
        for label, word in re.findall(r'(\w+)="([^"]*)"', text)
    }
    registry = create_app(Settings()).state.meters.registry
    there = {
        (label, word)
        for family in text_string_to_metric_families(generate_latest(registry).decode())
        for sample in family.samples
        for label, word in sample.labels.items()
    }

    assert wanted - there == {("job", "loopmargin")}


def test_alerts_are_well_formed() -> None:
    """What Prometheus's rule files have and nothing else; whoever is woken reads a sentence."""
    names = [alert["alert"] for alert in ALERTS]

    assert len(names) == len(set(names))
    for alert in ALERTS:
        assert {"alert", "expr", "labels", "annotations"} <= alert.keys()
        assert alert.keys() <= {"alert", "expr", "for", "labels", "annotations"}
        assert DURATION.fullmatch(alert.get("for", "1m"))
        assert alert["labels"]["severity"] in {"page", "ticket"}
        assert alert["annotations"]["summary"].endswith(".")
        assert re.search(r"[<>=]=? [\d.]+$", alert["expr"])


@pytest.mark.parametrize("name", [alert["alert"] for alert in ALERTS])
def test_the_runbook_says_what_an_alarm_means(name: str) -> None:
    """A row of its own, with something to do."""
    (row,) = [line for line in README.splitlines() if line.startswith(f"| `{name}` |")]

    assert all(len(cell.strip()) > 10 for cell in row.strip("|").split("|"))


def test_panels_stand_beside_each_other_and_not_over_each_other() -> None:
    """24 columns, identifiers of their own, and a source that is chosen."""
    taken: set[tuple[int, int]] = set()
    for panel in DASHBOARD["panels"]:
        box = panel["gridPos"]
        cells = {
            (column, row)
            for column in range(box["x"], box["x"] + box["w"])
            for row in range(box["y"], box["y"] + box["h"])
        }
        assert not cells & taken, panel["title"]
        assert max(column for column, _ in cells) < 24
        taken |= cells
        assert all(
            target["datasource"]["uid"] == "${source}" for target in panel.get("targets", ())
        )
    identifiers = [panel["id"] for panel in DASHBOARD["panels"]]
    assert len(identifiers) == len(set(identifiers))


def test_every_metric_of_ours_is_on_the_dashboard_or_in_an_alarm() -> None:
    """What nobody looks at need not be counted."""
    shown = " ".join(text for _, text in EXPRESSIONS)
    families = described(create_app(Settings()).state.meters.registry)

    unseen = {
        name
        for name in families
        if name.startswith("loopmargin_") and name.removesuffix("_total") not in shown
    }
    assert unseen <= {"loopmargin_store_held_entries"}


def test_what_is_scraped_is_what_the_image_serves() -> None:
    """Each replica at the port of the image, under the name that the alarms ask for."""
    scraping = yaml.safe_load((WATCH / "prometheus.yml").read_text())
    (job,) = scraping["scrape_configs"]
    port = image_environment()["LOOPMARGIN_METRICS_PORT"]
    replicas = [name for name in COMPOSE["services"] if name.startswith("replica-")]

    assert job["job_name"] == "loopmargin"
    assert job["static_configs"] == [{"targets": [f"{name}:{port}" for name in replicas]}]
    assert scraping["rule_files"] == ["rules.yaml"]
