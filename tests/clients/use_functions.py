"""A program on the client that openapi-python-client makes; prints what it found."""

import io
import json
import os

from made import AuthenticatedClient
from made.api.builds import create_build, delete_build, get_build, replace_build
from made.api.catalogue import get_component, list_flaws
from made.api.closures import make_closure
from made.api.orders import count_stock
from made.models import (
    BuildChangeIn,
    BuildCreateIn,
    BuildOut,
    ClosureIn,
    ClosureOut,
    ComponentFactsOut,
    FlawsOut,
    ProblemOut,
    StockCountOut,
    VehicleIn,
    WishIn,
)
from made.types import File

VAN = "24PL-018412"


def main(client: AuthenticatedClient) -> None:
    asked = ClosureIn(vehicle=VehicleIn(chassis=VAN), wishes=[WishIn(fit="QL-7075")])
    closure = make_closure.sync(client=client, body=asked)
    assert isinstance(closure, ClosureOut)
    component = get_component.sync("QB-3310", client=client)
    assert isinstance(component, ComponentFactsOut)
    page = list_flaws.sync(client=client, limit=3)
    assert isinstance(page, FlawsOut)
    following = list_flaws.sync(client=client, limit=3, cursor=page.next_)
    assert isinstance(following, FlawsOut)

    made = create_build.sync(client=client, body=BuildCreateIn(name="functions", chassis=VAN))
    assert isinstance(made, BuildOut)
    etag = get_build.sync_detailed("functions", client=client).headers["etag"]
    note = BuildChangeIn(chassis=VAN, note="seen")
    changed = replace_build.sync("functions", client=client, body=note, if_match=etag)
    assert isinstance(changed, BuildOut)
    late = replace_build.sync("functions", client=client, body=note, if_match=etag)
    unconditional = replace_build.sync("functions", client=client, body=note, if_match="")
    unknown = get_component.sync("nonsuch", client=client)
    assert isinstance(late, ProblemOut)
    assert isinstance(unconditional, ProblemOut)
    assert isinstance(unknown, ProblemOut)
    last = get_build.sync_detailed("functions", client=client).headers["etag"]
    assert delete_build.sync_detailed("functions", client=client, if_match=last).status_code == 204

    sheet = File(io.BytesIO(b"number,quantity,place\nQB-9001,4,drawer 14\n"))
    counted = count_stock.sync(client=client, body=sheet, dry_run=True)
    assert isinstance(counted, StockCountOut)
    print(
        json.dumps(
            {
                "proved": closure.proved,
                "component": component.component.number,
                "price": closure.set_.totals.price > "0",
                "flaws": len(page.items),
                "pages": page.items[-1].name < following.items[0].name,
                "build": [made.version, changed.version],
                "refused": [problem.type_.rpartition("/")[2] for problem in (unknown, unconditional, late)],
                "sheet": counted.rows,
            }
        )
    )


with AuthenticatedClient(base_url=os.environ["ADDRESS"], token=os.environ["KEY"]) as service:
    main(service)
