"""The deployment files agree with the service, with each other and with good practice."""

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml

from loopmargin_service.http.serve import KEEP_ALIVE_S, grace_s
from loopmargin_service.http.settings import Settings, read

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
BASE = DEPLOY / "kubernetes" / "base"
DOCKERFILE = (DEPLOY / "Dockerfile").read_text()
NGINX = (DEPLOY / "proxy" / "nginx.conf").read_text()
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text())
KUSTOMIZATION: dict[str, Any] = yaml.safe_load((BASE / "kustomization.yaml").read_text())
RESOURCES: dict[tuple[str, str], Any] = {
    (row["kind"], row["metadata"]["name"]): row
    for name in KUSTOMIZATION["resources"]
    for row in yaml.safe_load_all((BASE / name).read_text())
}
POD: dict[str, Any] = RESOURCES["Deployment", "loopmargin"]["spec"]["template"]["spec"]
CONTAINER: dict[str, Any] = POD["containers"][0]
IN_CLUSTER = read(RESOURCES["ConfigMap", "loopmargin"]["data"])
PATHS = json.loads((ROOT / "openapi" / "openapi.json").read_bytes())["paths"]
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
PODS = pytest.mark.parametrize("name", ["loopmargin", "answers"])
PROBES = ("startupProbe", "readinessProbe", "livenessProbe")


def pod(name: str) -> Any:  # noqa: ANN401 - YAML
    """Give the pod of a Deployment."""
    return RESOURCES["Deployment", name]["spec"]["template"]["spec"]


def seconds(text: str) -> float:
    """Read a duration such as 50s."""
    return float(text.removesuffix("s"))


def image_environment() -> dict[str, str]:
    """Read what the image sets of our own settings."""
    return dict(re.findall(r"\b(LOOPMARGIN_\w+)=(\S+)", DOCKERFILE))


def test_every_manifest_is_in_the_base() -> None:
    """No file lies beside the list and is forgotten."""
    files = {path.name for path in BASE.glob("*.yaml")} - {"kustomization.yaml"}

    assert files == set(KUSTOMIZATION["resources"])


def test_probes_ask_what_the_service_serves() -> None:
    """Each path stands in the published document, and readiness is not liveness."""
    asked = {name: CONTAINER[name]["httpGet"]["path"] for name in PROBES}

    assert asked == dict(zip(PROBES, ("/livez", "/readyz", "/livez"), strict=True))
    assert set(asked.values()) <= PATHS.keys()
    assert {CONTAINER[name]["httpGet"]["port"] for name in PROBES} == {"http"}


def test_the_image_asks_whether_it_lives_on_its_own_port() -> None:
    """The health check and the exposed port are those that the image sets."""
    port = image_environment()["LOOPMARGIN_PORT"]

    metrics = image_environment()["LOOPMARGIN_METRICS_PORT"]

    assert 'CMD ["python", "-m", "loopmargin_service.http.healthcheck"]' in DOCKERFILE
    assert f"EXPOSE {port} {metrics}\n" in DOCKERFILE
    assert CONTAINER["ports"] == [
        {"name": "http", "containerPort": int(port)},
        {"name": "metrics", "containerPort": int(metrics)},
    ]
    assert NGINX.count(f":{port} ") == 2


@pytest.mark.parametrize(
    "given",
    [
        image_environment(),
        RESOURCES["ConfigMap", "loopmargin"]["data"],
        COMPOSE["services"]["replica-a"]["environment"],
    ],
    ids=["image", "cluster", "host"],
)
def test_settings_given_are_settings_understood(given: dict[str, str]) -> None:
    """The service itself reads them without complaint, and drains."""
    assert read(given).drain_s == 10.0


def test_pods_are_killed_only_after_drain_and_last_answers() -> None:
    """Grace of the cluster > preStop + drain + grace of the service, with seconds to spare."""
    longest_s = IN_CLUSTER.drain_s + grace_s(IN_CLUSTER)

    assert "lifecycle" not in CONTAINER
    assert POD["terminationGracePeriodSeconds"] >= longest_s + 5
    assert seconds(COMPOSE["services"]["replica-a"]["stop_grace_period"]) >= longest_s + 5


def test_the_proxy_waits_until_the_service_has_said_why_it_is_late() -> None:
    """The service's own refusal names the limit; the proxy's could not."""
    for given in re.findall(r"proxy_read_timeout (\d+)s;", NGINX) or ["0"]:
        assert int(given) > read(image_environment()).deadline_s


def test_the_endpoint_is_gone_before_the_drain_ends() -> None:
    """Unready is noticed in less than half of the drain, which leaves time to spread it."""
    probe = CONTAINER["readinessProbe"]

    noticed_s = probe["periodSeconds"] * probe["failureThreshold"]

    assert noticed_s < IN_CLUSTER.drain_s / 2


def test_a_new_version_never_leaves_fewer_replicas() -> None:
    """One more comes before one goes, and an eviction leaves one."""
    strategy = RESOURCES["Deployment", "loopmargin"]["spec"]["strategy"]["rollingUpdate"]
    scaler = RESOURCES["HorizontalPodAutoscaler", "loopmargin"]["spec"]
    budget = RESOURCES["PodDisruptionBudget", "loopmargin"]["spec"]

    assert strategy == {"maxUnavailable": 0, "maxSurge": 1}
    assert 1 <= budget["minAvailable"] < scaler["minReplicas"]
    assert scaler["scaleTargetRef"]["name"] == "loopmargin"
    assert "replicas" not in RESOURCES["Deployment", "loopmargin"]["spec"]


@PODS
def test_pods_may_do_next_to_nothing(name: str) -> None:
    """No root, no capabilities, no writing, no token, the default system call filter."""
    spec = pod(name)
    container = spec["containers"][0]["securityContext"]

    assert spec["securityContext"]["runAsNonRoot"] is True
    assert spec["securityContext"]["runAsUser"] > 0
    assert spec["securityContext"]["seccompProfile"] == {"type": "RuntimeDefault"}
    assert spec["automountServiceAccountToken"] is False
    assert container == {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "capabilities": {"drop": ["ALL"]},
    }


@PODS
def test_memory_asked_for_is_memory_allowed(name: str) -> None:
    """A pod that is scheduled is not killed for memory that others took."""
    resources = pod(name)["containers"][0]["resources"]

    assert resources["requests"]["memory"] == resources["limits"]["memory"]
    assert "cpu" in resources["requests"]


def test_stored_answers_fit_into_the_memory() -> None:
    """At rest (63 MB measured), with its store and as much again; workers (45 MB, 25 MB once)."""
    limit = int(CONTAINER["resources"]["limits"]["memory"].removesuffix("Mi")) * 2**20

    held = 63e6 + IN_CLUSTER.store_bytes + 45e6 * IN_CLUSTER.worker_processes
    assert 2 * held + 25e6 < limit
    assert COMPOSE["services"]["replica-a"]["mem_limit"] == "512m"


@pytest.mark.parametrize("name", list(COMPOSE["services"]))
def test_containers_may_do_next_to_nothing(name: str) -> None:
    """The same on one host."""
    service = COMPOSE["services"][name]

    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "mem_limit" in service
    assert service.get("user", "image") != "0"


def test_only_the_proxy_is_reached_from_outside() -> None:
    """Replicas and store publish no port and live on a network without a way out."""
    published = [name for name, row in COMPOSE["services"].items() if "ports" in row]

    assert published == ["proxy", "watch"]
    assert COMPOSE["services"]["watch"]["ports"] == ["127.0.0.1:9090:9090"]
    assert COMPOSE["networks"]["inside"]["internal"] is True
    assert all(
        row["networks"] == ["inside"]
        for name, row in COMPOSE["services"].items()
        if name not in published
    )


@pytest.mark.parametrize(
    "words",
    [
        COMPOSE["services"]["answers"]["command"],
        pod("answers")["containers"][0]["args"],
    ],
    ids=["host", "cluster"],
)
def test_the_store_is_disposable_and_bounded(words: list[str]) -> None:
    """It keeps nothing on disk and drops the least used when it is full."""
    options = dict(zip(words[1::2], words[2::2], strict=True))

    assert options == {
        "--save": "",
        "--appendonly": "no",
        "--maxmemory": "256mb",
        "--maxmemory-policy": "allkeys-lfu",
    }


def test_the_network_is_closed_but_for_what_is_named() -> None:
    """Everything is denied; the service reaches names and store, the store nobody."""
    rules = {
        name: row["spec"] for (kind, name), row in RESOURCES.items() if kind == "NetworkPolicy"
    }
    leaving = rules["loopmargin-to-answers-and-names"]["egress"]

    assert rules["deny-all"] == {"podSelector": {}, "policyTypes": ["Ingress", "Egress"]}
    assert [{row["port"] for row in rule["ports"]} for rule in leaving] == [{6379}, {53}]
    assert [name for name, spec in rules.items() if "egress" in spec] == [
        "loopmargin-to-answers-and-names"
    ]


def test_names_of_the_store_agree() -> None:
    """The address in the settings is the Service of the cluster and the container of the host."""
    url = RESOURCES["ConfigMap", "loopmargin"]["data"]["LOOPMARGIN_REDIS_URL"]
    port = RESOURCES["Service", "answers"]["spec"]["ports"][0]["port"]

    assert url == f"redis://answers:{port}/0"
    assert COMPOSE["services"]["replica-a"]["environment"]["LOOPMARGIN_REDIS_URL"] == url
    assert "answers" in COMPOSE["services"]


def test_selectors_select() -> None:
    """Service, budget and spread name the labels that the pods carry."""
    labels = RESOURCES["Deployment", "loopmargin"]["spec"]["template"]["metadata"]["labels"]

    assert RESOURCES["Service", "loopmargin"]["spec"]["selector"] == labels
    assert (
        RESOURCES["PodDisruptionBudget", "loopmargin"]["spec"]["selector"]["matchLabels"] == labels
    )
    assert all(
        row["labelSelector"]["matchLabels"] == labels for row in POD["topologySpreadConstraints"]
    )


def test_one_version_everywhere() -> None:
    """The image that is built is the image that is run, and has the version of the package."""
    assert COMPOSE["services"]["replica-b"]["image"] == f"loopmargin:{VERSION}"
    assert KUSTOMIZATION["images"] == [{"name": "loopmargin", "newTag": VERSION}]
    assert f"-t loopmargin:{VERSION} " in DOCKERFILE


def test_the_proxy_closes_idle_connections_first() -> None:
    """A replica never closes a connection under a request on its way."""
    upstream = re.search(r"upstream replicas \{(.*?)\n    \}", NGINX, re.DOTALL)
    assert upstream is not None
    found = re.search(r"keepalive_timeout (\w+);", upstream[1])
    assert found is not None

    assert seconds(found[1]) < KEEP_ALIVE_S


def test_the_proxy_lets_through_what_the_service_accepts() -> None:
    """So that a body too long is refused by the service, with its own limit in the text."""
    found = re.search(r"client_max_body_size (\d+)k;", NGINX)
    assert found is not None

    assert Settings().body_bytes < int(found[1]) * 1024 <= 4 * Settings().body_bytes
