"""Keys and quotas in the deployment files: mounted where they are read, shared by as many."""

from pathlib import Path

import yaml

from loopmargin_service.http.settings import read
from tests.unit.test_deploy import COMPOSE, DEPLOY, RESOURCES


def test_the_parts_of_a_quota_add_up_to_it() -> None:
    """Each replica is told how many there may be."""
    scaler = RESOURCES["HorizontalPodAutoscaler", "loopmargin"]["spec"]
    replicas = [name for name in COMPOSE["services"] if name.startswith("replica")]

    assert read(RESOURCES["ConfigMap", "loopmargin"]["data"]).replicas == scaler["maxReplicas"]
    assert read(COMPOSE["services"]["replica-a"]["environment"]).replicas == len(replicas)


def test_keys_are_mounted_where_the_service_looks_for_them() -> None:
    """On one host and in a cluster; the folder, so that a file put in place of another is seen."""
    keyed = yaml.safe_load((DEPLOY / "compose.keys.yaml").read_text())["services"]
    overlay = yaml.safe_load((DEPLOY / "kubernetes" / "keys" / "kustomization.yaml").read_text())
    (patch,) = overlay["patches"]
    added = {
        step["path"].split("/")[-2:][0]: step["value"] for step in yaml.safe_load(patch["patch"])
    }
    (secret,) = overlay["secretGenerator"]

    for service in keyed.values():
        path = Path(service["environment"]["LOOPMARGIN_KEYS_FILE"])
        assert [volume.split(":")[1] for volume in service["volumes"]] == [str(path.parent)]
    (variable,) = added["0"]
    assert variable["name"] == "LOOPMARGIN_KEYS_FILE"
    assert variable["value"] == f"{added['volumeMounts']['mountPath']}/{secret['files'][0]}"
    assert added["volumeMounts"]["name"] == added["volumes"]["name"]
    assert added["volumes"]["secret"]["secretName"] == secret["name"]
    assert overlay["generatorOptions"] == {"disableNameSuffixHash": True}
