"""A program on the models that datamodel-code-generator makes, and plain HTTP; prints what it found."""

import json
import os
from typing import Any, TypeVar

import httpx
import made

VAN = "24PL-018412"
Model = TypeVar("Model")


def main() -> None:
    headers = {"Authorization": f"Bearer {os.environ['KEY']}"}
    with httpx.Client(base_url=os.environ["ADDRESS"], headers=headers, timeout=60) as client:

        def asked(as_: type[Model], method: str, address: str, body: Any = None, **more: str) -> Model:
            content = body.model_dump_json(exclude_unset=True) if body else None
            kind = {"Content-Type": "application/json"} if body else {}
            answer = client.request(method, address, content=content, headers=kind | more)
            return as_.model_validate_json(answer.content)

        closure_in = made.ClosureIn(vehicle={"chassis": VAN}, wishes=[{"fit": "QL-7075"}])
        closure = asked(made.ClosureOut, "POST", "/v1/closures", closure_in)
        component = asked(made.ComponentFactsOut, "GET", "/v1/components/QB-3310")
        page = asked(made.FlawsOut, "GET", "/v1/flaws?limit=3")
        following = asked(made.FlawsOut, "GET", f"/v1/flaws?limit=3&cursor={page.next}")

        address, note = "/v1/builds/models", made.BuildChangeIn(chassis=VAN, note="seen")
        built = asked(made.BuildOut, "POST", "/v1/builds", made.BuildCreateIn(name="models", chassis=VAN))
        etag = client.get(address).headers["etag"]
        changed = asked(made.BuildOut, "PUT", address, note, **{"If-Match": etag})
        late = asked(made.ProblemOut, "PUT", address, note, **{"If-Match": etag})
        unconditional = asked(made.ProblemOut, "PUT", address, note)
        unknown = asked(made.ProblemOut, "GET", "/v1/components/nonsuch")
        client.delete(address, headers={"If-Match": client.get(address).headers["etag"]}).raise_for_status()
    print(
        json.dumps(
            {
                "proved": closure.proved,
                "component": component.component.number,
                "price": closure.set.totals.price > 0,
                "flaws": len(page.items),
                "pages": page.items[-1].name < following.items[0].name,
                "build": [built.version, changed.version],
                "refused": [problem.type.rpartition("/")[2] for problem in (unknown, unconditional, late)],
            }
        )
    )


main()
