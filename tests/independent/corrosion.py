"""Metals that touch, once more, plainly, from the published text: no import from the service."""

# Volts against gold: to 0.85 as published at vk6ysf.com/galvanic_table.htm, above it a secondary listing.
INDEX = {
    "copper": 0.35, "brass": 0.40, "stainless steel 18 % Cr": 0.50, "plain steel": 0.85, "cast iron": 0.85,
    "wrought aluminium": 0.90, "cast aluminium": 0.95, "galvanised steel": 1.20, "zinc": 1.25,
}  # fmt: skip
ALLOWED = {"harsh": 0.15, "normal": 0.25, "controlled": 0.50}

# ISO 9223, greatest um of zinc a year (as copied at what-when-how.com, table 6.7).
ZINC_A_YEAR = {"C1": 0.1, "C2": 0.7, "C3": 2.1, "C4": 4.2, "C5": 8.4}


def judge(one, other, environment, isolated):
    """Each side is (metal, coating)."""
    (metal, coating), (metal2, coating2) = one, other
    metal = "zinc" if "zinc" in coating else metal
    metal2 = "zinc" if "zinc" in coating2 else metal2
    if metal == metal2:
        return "holds"
    coats = ("paint", "zinc and paint", "powder coat")
    covered, covered2 = coating in coats, coating2 in coats
    steel, aluminium, zinc = (
        ("plain steel", "cast iron"),
        ("wrought aluminium", "cast aluminium"),
        ("zinc", "galvanised steel"),
    )
    both = {metal, metal2}
    apart = isolated or (covered and covered2)
    # Workshop practice: of two metals the eaten one (the greater index) is never coated alone.
    eaten_covered, noble_covered = (
        (covered, covered2) if INDEX[metal] >= INDEX[metal2] else (covered2, covered)
    )
    half = noble_covered and not eaten_covered
    if both & set(steel) and both & set(aluminium):
        if apart:
            return "holds"
        if half or environment == "controlled":
            return "caution"
        return "fails"
    gap = abs(INDEX[metal] - INDEX[metal2])
    if gap <= ALLOWED[environment] + 1e-9:
        return "holds"
    if apart:
        return "holds" if gap <= 0.50 + 1e-9 else "caution"
    if half or (both & set(steel) and both & set(zinc)):
        return "caution"
    return "fails"


def zinc_years(micrometres, corrosivity):
    return micrometres / ZINC_A_YEAR[corrosivity]
