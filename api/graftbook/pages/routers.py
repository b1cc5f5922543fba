"""Every page, in the order of the frame's links."""

from graftbook.pages import guide, sign_in, static, units_form
from graftbook.pages.answer import answer, compare, fitting, picture, quotation
from graftbook.pages.asking import ask, component, find, home, lookup, suggest
from graftbook.pages.checking import check
from graftbook.pages.editing import edit, effects, imports, lint, past
from graftbook.pages.ordering import order, papers, stock
from graftbook.pages.reporting import reports

ROUTERS = (
    home.router,
    ask.router,
    answer.router,
    compare.router,
    find.router,
    check.router,
    lookup.router,
    component.router,
    order.router,
    papers.router,
    stock.router,
    fitting.router,
    quotation.router,
    picture.router,
    imports.router,
    effects.router,
    edit.router,
    past.router,
    lint.router,
    reports.router,
    suggest.router,
    guide.router,
    sign_in.router,
    units_form.router,
    static.router,
)
