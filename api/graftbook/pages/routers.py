"""Every page, in the order of the frame's links."""

from graftbook.pages import guide, sign_in, static, units_form
from graftbook.pages.answer import answer, compare, fitting, picture, quotation
from graftbook.pages.asking import ask, component, find, home, lookup, measure
from graftbook.pages.building import builds, specifications
from graftbook.pages.checking import check
from graftbook.pages.editing import edit, effects, flat, imports, lint, past, pictures, review
from graftbook.pages.ordering import order, papers, stock
from graftbook.pages.reporting import reports
from graftbook.pages.telling import webhooks

ROUTERS = (
    home.router,
    ask.router,
    answer.router,
    compare.router,
    find.router,
    check.router,
    lookup.router,
    measure.router,
    component.router,
    order.router,
    papers.router,
    stock.router,
    builds.router,
    specifications.router,
    fitting.router,
    quotation.router,
    picture.router,
    imports.router,
    effects.router,
    flat.router,
    edit.router,
    past.router,
    review.router,
    webhooks.router,
    lint.router,
    reports.router,
    pictures.router,
    guide.router,
    sign_in.router,
    units_form.router,
    static.router,
)
