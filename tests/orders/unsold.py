"""A part that nobody sells any more, whatever the demo range has of it."""

import httpx


async def sold_by_nobody(counter: httpx.AsyncClient, number: str) -> None:
    """Every offer of a part is struck."""
    offers = (await counter.get(f"/v1/components/{number}")).json()["offers"]
    assert offers, f"nobody sells {number} as it is"
    for offer in offers:
        since = f"@{offer['valid_from']}" if offer.get("valid_from") else ""
        name = offer.get("name") or f"{offer['supplier']}:{number}{since}"
        held = await counter.get(f"/v1/records/offer/{name}")
        assert held.status_code == 200, (name, held.text)
        gone = await counter.delete(f"/v1/records/offer/{name}", headers={"If-Match": held.headers["etag"]})
        assert gone.status_code == 200, gone.text
