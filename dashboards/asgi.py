"""The dashboard and the JSON API in one server. Started by `faultodds serve`."""

from pathlib import Path

import streamlit as st
from starlette.routing import Mount

from pipelines.api_app import PREFIX, make_api
from pipelines.settings import read_settings

# The API asks for a token at every request, at this machine too; it answers under the names that the pages answer to.
app = st.App(
    Path(__file__).with_name("app.py"),
    routes=[Mount(PREFIX, make_api(read_settings(), hosts=st.get_option("server.allowedHosts")))],
)
