"""Builds and specifications over HTTP, in any order, on both engines: what a plain dict would say.

Whoever changes something sends an ETag: the right one, an outdated one, that of something else, or none.
"""

import asyncio
from typing import Any

import httpx
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from graftbook.app import create_app
from graftbook.settings import Settings
from tests.conftest import client_of
from tests.running import cases

NAMES = st.sampled_from(["red", "green"])
NOTES = st.sampled_from(["", "one", "two", "three"])
FITTED = st.sampled_from([{}, {"brake.servo": None}, {"brake.front.left": "QB-2012", "brake.servo": None}])
WISHES = st.lists(
    st.sampled_from([{"fit": "QB-3310"}, {"remedy_all": "severe"}, {"clear": "brake.servo"}]),
    max_size=2,
    unique_by=str,
)
WHOSE_TAG = st.sampled_from(["right", "right", "older", "other", "none"])
EXAMPLES, STEPS = cases(3), 25


class House(RuleBasedStateMachine):
    """A house's builds and specifications, and the model of both."""

    url: str
    number = 0

    @initialize()
    def begin(self) -> None:
        self.app = create_app(Settings(database_url=self.url))
        type(self).number += 1
        self.mark = f"{type(self).number}-"
        self.client = client_of(self.app, scope="edit")
        self.loop = asyncio.Runner()
        self.builds: dict[str, dict[str, Any]] = {}
        self.specifications: dict[str, list[dict[str, Any]]] = {}
        self.tags: dict[str, list[str]] = {}
        self.contents: dict[tuple[str, str], str] = {}

    def teardown(self) -> None:
        if hasattr(self, "loop"):
            self.loop.run(self.client.aclose())
            self.loop.close()
            self.app.state.service.close()

    def ask(self, method: str, to: str, **options: Any) -> httpx.Response:
        answer: httpx.Response = self.loop.run(self.client.request(method, f"/v1/{to}", **options))
        if (tag := answer.headers.get("etag")) and answer.status_code < 300:
            assert self.contents.setdefault((to, tag), answer.text) == answer.text, "one ETag, two contents"
        return answer

    def if_match(self, to: str, whose: str) -> tuple[dict[str, str], int]:
        """A header, and how a change that carries it is answered when the thing exists (0: accepted)."""
        now = self.tags[to][-1]
        older = [tag for tag in self.tags[to] if tag != now]
        match whose:
            case "none":
                return {}, 428
            case "right":
                return {"If-Match": now}, 0
            case "older" if older:
                return {"If-Match": older[0]}, 412
        return {"If-Match": '"build-0"'}, 412

    @rule(name=NAMES, note=NOTES, fitted=FITTED)
    def a_build_is_made(self, name: str, note: str, fitted: dict[str, Any]) -> None:
        name = self.mark + name
        body = {"name": name, "chassis": "24PL-018412", "note": note, "fitted": fitted}
        answer = self.ask("POST", "builds", json=body)
        if name in self.builds:
            assert answer.status_code == 409
            return
        assert answer.status_code == 201, answer.text
        self.builds[name] = {"note": note, "fitted": fitted, "version": 1}
        self.tags[f"builds/{name}"] = [answer.headers["etag"]]

    @rule(name=NAMES, note=NOTES, fitted=FITTED, whose=WHOSE_TAG)
    def a_build_is_replaced(self, name: str, note: str, fitted: dict[str, Any], whose: str) -> None:
        name = self.mark + name
        to, body = f"builds/{name}", {"chassis": "24PL-018412", "note": note, "fitted": fitted}
        if name not in self.builds:
            assert self.ask("PUT", to, json=body, headers={"If-Match": '"x"'}).status_code == 404
            return
        headers, refusal = self.if_match(to, whose)
        answer = self.ask("PUT", to, json=body, headers=headers)
        assert answer.status_code == (refusal or 200), answer.text
        if not refusal:
            version = self.builds[name]["version"] + 1
            self.builds[name] = {"note": note, "fitted": fitted, "version": version}
            self.tags[to].append(answer.headers["etag"])

    @rule(name=NAMES, whose=WHOSE_TAG)
    def a_build_is_deleted(self, name: str, whose: str) -> None:
        name = self.mark + name
        if name not in self.builds:
            assert self.ask("DELETE", f"builds/{name}", headers={"If-Match": '"x"'}).status_code == 404
            return
        headers, refusal = self.if_match(f"builds/{name}", whose)
        answer = self.ask("DELETE", f"builds/{name}", headers=headers)
        assert answer.status_code == (refusal or 204), answer.text
        if not refusal:
            del self.builds[name]

    @rule(name=NAMES, note=NOTES, wishes=WISHES)
    def a_specification_is_made(self, name: str, note: str, wishes: list[Any]) -> None:
        name = self.mark + name
        body = {"name": name, "title": "House", "wishes": wishes, "note": note}
        answer = self.ask("POST", "specifications", json=body)
        if name in self.specifications:
            assert answer.status_code == 409
            return
        assert answer.status_code == 201, answer.text
        self.specifications[name] = [{"wishes": wishes, "note": note}]
        self.tags[f"specifications/{name}"] = [answer.headers["etag"]]

    @rule(name=NAMES, note=NOTES, wishes=WISHES, whose=WHOSE_TAG)
    def a_specification_is_revised(self, name: str, note: str, wishes: list[Any], whose: str) -> None:
        name = self.mark + name
        to, body = f"specifications/{name}", {"title": "House", "wishes": wishes, "note": note}
        if name not in self.specifications:
            assert self.ask("PUT", to, json=body, headers={"If-Match": '"x"'}).status_code == 404
            return
        headers, refusal = self.if_match(to, whose)
        answer = self.ask("PUT", to, json=body, headers=headers)
        assert answer.status_code == (refusal or 200), answer.text
        if not refusal:
            self.specifications[name].append({"wishes": wishes, "note": note})
            self.tags[to].append(answer.headers["etag"])

    @invariant()
    def builds_are_the_model(self) -> None:
        for name, model in getattr(self, "builds", {}).items():
            stored = self.ask("GET", f"builds/{name}")
            assert {key: stored.json()[key] for key in model} == model
            assert stored.headers["etag"] == self.tags[f"builds/{name}"][-1]

    @invariant()
    def every_version_of_a_specification_stays(self) -> None:
        for name, versions in getattr(self, "specifications", {}).items():
            for number, model in enumerate(versions, 1):
                stored = self.ask("GET", f"specifications/{name}?version={number}").json()
                assert {key: stored[key] for key in model} == model
                assert (stored["version"], stored["latest"]) == (number, len(versions))


def test_builds_and_specifications_do_what_a_plain_dict_does(own_demo_url: str):
    bounds = settings(
        max_examples=EXAMPLES, stateful_step_count=STEPS, deadline=None, print_blob=True,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run_state_machine_as_test(type("Machine", (House,), {"url": own_demo_url}), settings=bounds)
