"""The dashboard and the JSON API in one server. Started by `faultodds serve`."""

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware
from starlette.routing import Mount

from dashboards.secure_cookies import secure_cookies
from pipelines.access_provider import sent_back_to
from pipelines.api_app import PREFIX, make_api
from pipelines.settings import read_settings

settings = read_settings()
# The API asks for a token at every request, at this machine too; it answers under the names that the pages answer to.
app = st.App(
    Path(__file__).with_name("app.py"),
    routes=[Mount(PREFIX, make_api(settings, hosts=st.get_option("server.allowedHosts")))],
    middleware=[Middleware(secure_cookies)] if sent_back_to(settings).startswith("https:") else [],
)
