"""Money between the format's exact decimals and the tables' minor units."""

from decimal import Decimal


def minor_units(amount: Decimal) -> int:
    """Money in minor units, exact."""
    return int(amount.scaleb(2))


def money(amount: int) -> Decimal:
    """Minor units as an exact decimal with two places."""
    return Decimal(amount).scaleb(-2).quantize(Decimal("0.01"))
