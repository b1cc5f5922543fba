"""Every page, in the order of the frame's links."""

from graftbook.pages import guide, sign_in, static, units_form
from graftbook.pages.answer import answer, fitting, picture, quotation
from graftbook.pages.asking import ask, component, find, lookup, suggest
from graftbook.pages.checking import check
from graftbook.pages.editing import edit, effects, imports
from graftbook.pages.ordering import order, stock

ROUTERS = (
    ask.router,
    answer.router,
    find.router,
    check.router,
    lookup.router,
    component.router,
    order.router,
    stock.router,
    fitting.router,
    quotation.router,
    picture.router,
    imports.router,
    effects.router,
    edit.router,
    suggest.router,
    guide.router,
    sign_in.router,
    units_form.router,
    static.router,
)
