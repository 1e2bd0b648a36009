"""The dashboard's frame: which pages there are. Started by `faultodds serve`."""

from pathlib import Path

import streamlit as st

from dashboards.sentences import sentence

HERE = Path(__file__).resolve().parent

# A local picture: an icon by name would make the browser ask an outside host for it.
st.set_page_config(page_title=sentence("app.name"), page_icon=str(HERE / "icon.png"), layout="wide")
page = st.navigation(
    [
        st.Page(HERE / "sheets" / "bench.py", title=sentence("app.bench"), default=True),
        st.Page(HERE / "sheets" / "tickets.py", title=sentence("tickets.title")),
        st.Page(HERE / "sheets" / "model.py", title=sentence("model.title")),
        st.Page(HERE / "sheets" / "shop.py", title=sentence("shop.title")),
    ],
    position="top",
)
page.run()
