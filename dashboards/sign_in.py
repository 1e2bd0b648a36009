"""The door of the dashboard: who comes from beyond this machine says who it is before any page is drawn."""

import streamlit as st
from streamlit.navigation.page import StreamlitPage

from analytics.errors import InputError
from dashboards import bench_view
from dashboards.sentences import in_markdown, refusal, sentence
from pipelines.access_phrases import phrase_mark, roles_with_phrase
from pipelines.access_provider import find_provider
from pipelines.settings import Settings, read_settings
from pipelines.sign_in_rules import is_confirmed, is_door_needed, is_set_up, role_of_user, try_phrase

# At this machine itself, with no sign-in set up, everything is open.
OWNER = "lead"
# Of the visitor: the role, and the mark of the phrase that gave it. Gone when the page is loaded again.
ENTERED, PROBLEM, TYPED = "door_entered", "door_problem", "door_phrase"
ROLE_KEYS = {"technician": "door.technician", "lead": "door.lead", "club": "door.club"}


def find_role() -> str:
    """The visitor's role, "" while nobody has said who it is, or while the files of the sign-in cannot be used."""
    settings = read_settings()
    try:
        if not is_door_needed(settings, st.get_option("server.address") or ""):
            return OWNER
        return _role_by_phrase(settings) or _role_by_provider(settings)
    except InputError:
        # the door says what is wrong
        return ""


def door_for(page: StreamlitPage) -> StreamlitPage:
    """The door at the address of a page: a pass phrase opens where the link led, a provider sends to the first page."""
    return st.Page(show_door, title=sentence("door.title"), url_path=page.url_path, default=not page.url_path)


def show_door() -> None:
    """The page that stands before all others."""
    settings = read_settings()
    st.html(bench_view.STYLE)
    st.title(sentence("door.title"), anchor=False)
    try:
        if not is_set_up(settings):
            st.error(sentence("door.shut"))
            return
        if roles_with_phrase(settings):
            _show_phrase()
        if find_provider(settings) is not None:
            _show_provider(settings)
    except InputError as problem:
        st.error(refusal(problem))


def show_way_out(role: str) -> None:
    """Who is signed in, and the button to leave; nothing where no sign-in is set up."""
    if ENTERED not in st.session_state and not _is_known_to_provider():
        return
    with st.container(horizontal=True, vertical_alignment="center"):
        st.caption(sentence("door.signed_in", role=sentence(ROLE_KEYS[role])))
        st.button(sentence("door.leave"), on_click=leave, key="door_leave")


def leave() -> None:
    """Forgets the visitor and all that was typed; for a button's on_click."""
    st.session_state.clear()
    if _is_known_to_provider():
        st.logout()


def enter() -> None:
    """Tries what was typed; for a button's on_click. What was typed is not kept, right or wrong."""
    settings, phrase = read_settings(), st.session_state.get(TYPED, "")
    st.session_state[TYPED] = ""
    try:
        role = try_phrase(settings, phrase, st.context.ip_address or "this machine")
    except InputError as problem:
        st.session_state[PROBLEM] = refusal(problem)
        return
    st.session_state.pop(PROBLEM, None)
    st.session_state[ENTERED] = (role, phrase_mark(settings, role))


def _show_phrase() -> None:
    st.markdown(sentence("door.lead_in"))
    with st.form("door_form", border=False):
        st.text_input(sentence("door.phrase"), type="password", key=TYPED, autocomplete="current-password")
        st.form_submit_button(sentence("door.enter"), type="primary", on_click=enter, key="door_enter")
    if problem := st.session_state.get(PROBLEM, ""):
        st.error(problem)
    st.markdown(sentence("door.how_long"))


def _show_provider(settings: Settings) -> None:
    if not _is_served_with(settings):
        st.error(sentence("door.start_anew"))
        return
    if not _is_known_to_provider():
        st.button(sentence("door.provider"), on_click=st.login, key="door_login", type="primary")
        st.markdown(sentence("door.provider_hint"))
        return
    user = st.user.to_dict()
    email = str(user.get("email", ""))
    if not email:
        st.error(sentence("door.no_address"))
    elif not is_confirmed(user):
        st.error(in_markdown("door.unconfirmed", email=email))
    elif not role_of_user(settings, user):
        st.error(in_markdown("door.no_role", email=email))
    st.button(sentence("door.leave"), on_click=leave, key="door_logout")


def _is_served_with(settings: Settings) -> bool:
    """Whether the server has read the provider's file; it does so when it starts."""
    return str(find_provider(settings)) in st.get_option("secrets.files")


def _role_by_phrase(settings: Settings) -> str:
    role, mark = st.session_state.get(ENTERED, ("", ""))
    # a phrase that was changed or taken away since lets nobody go on
    return role if mark and mark == phrase_mark(settings, role) else ""


def _role_by_provider(settings: Settings) -> str:
    if find_provider(settings) is None or not _is_known_to_provider():
        return ""
    return role_of_user(settings, st.user.to_dict())


def _is_known_to_provider() -> bool:
    return bool(st.user.get("is_logged_in", False))
