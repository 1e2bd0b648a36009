"""The dashboard's frame: which pages there are. Started by `faultodds serve`."""

from pathlib import Path

import streamlit as st
from altair.utils import schemapi
from streamlit.navigation.page import StreamlitPage

from dashboards import background_fit, sign_in
from dashboards.sentences import sentence
from pipelines.access_roles import may

HERE = Path(__file__).resolve().parent

# The tests hold every chart against its schema; to do it again at each press takes 40 ms.
schemapi.disable_debug_mode()
# A local picture: an icon by name would make the browser ask an outside host for it.
st.set_page_config(page_title=sentence("app.name"), page_icon=str(HERE / "icon.png"), layout="wide")


def pages_for(role: str) -> list[StreamlitPage]:
    """The pages of a role, each with the right that it takes; the door at all addresses while nobody is known."""
    pages = [
        ("bench", st.Page(HERE / "sheets" / "bench.py", title=sentence("app.bench"), default=True)),
        ("tickets", st.Page(HERE / "sheets" / "tickets.py", title=sentence("tickets.title"))),
        ("model", st.Page(HERE / "sheets" / "model.py", title=sentence("model.title"))),
        ("vocabulary", st.Page(HERE / "sheets" / "vocabulary.py", title=sentence("vocabulary.title"))),
        ("review", st.Page(HERE / "sheets" / "shop.py", title=sentence("shop.title"))),
        ("club", st.Page(HERE / "sheets" / "club.py", title=sentence("club.title"))),
    ]
    return [page for right, page in pages if may(role, right)] or [sign_in.door_for(page) for _, page in pages]


role = sign_in.find_role()
page = st.navigation(pages_for(role), position="top" if role else "hidden")
page.run()
if role:
    sign_in.show_way_out(role)
    background_fit.start_when_due()
