from __future__ import annotations

import socket

from deploy.embedded.data_folder import DataFolder
from deploy.embedded.programs import allowed_hosts, handed_over, service_environment, web_programs
from deploy.embedded.servers import choose_servers


def test_the_service_of_one_machine_answers_to_its_local_names_only() -> None:
    assert allowed_hosts("127.0.0.1") == ["127.0.0.1", "localhost", "[::1]"]
    assert allowed_hosts("::1") == ["127.0.0.1", "localhost", "[::1]"]


def test_a_named_host_is_answered_to() -> None:
    assert "192.0.2.7" in allowed_hosts("192.0.2.7")
    assert "[2001:db8::7]" in allowed_hosts("2001:db8::7")


def test_listening_everywhere_answers_to_the_machines_names_but_not_to_any() -> None:
    names = allowed_hosts("0.0.0.0")
    assert socket.gethostname() in names
    assert "*" not in names


def test_settings_that_the_person_gives_win_over_ours(data: DataFolder) -> None:
    handed = handed_over(data, choose_servers(data, {}), "127.0.0.1", 8765)
    present = {"SECRET_KEY": "mine", "MEDIA_ROOT": "/mine", "EAVESBOOK_DATA": "/elsewhere"}
    environment = service_environment(present, handed, "mark")
    assert environment["SECRET_KEY"] == "mine"
    assert "SECRET_KEY_FILE" not in environment
    assert environment["MEDIA_ROOT"] == "/mine"
    # But this start's data folder is this start's.
    assert environment["EAVESBOOK_DATA"] == str(data.path)


def test_demo_passwords_are_shown_to_this_machine_only(data: DataFolder) -> None:
    servers = choose_servers(data, {})
    assert handed_over(data, servers, "localhost", 8765)["SHOW_DEMO_SIGN_INS"] == "1"
    assert handed_over(data, servers, "0.0.0.0", 8765)["SHOW_DEMO_SIGN_INS"] == "0"


def test_a_certificates_code_opens_this_service(data: DataFolder) -> None:
    handed = handed_over(data, choose_servers(data, {}), "127.0.0.1", 9123)
    assert handed["PUBLIC_ADDRESS"] == "http://127.0.0.1:9123"


def test_web_processes_share_one_socket(data: DataFolder) -> None:
    with socket.socket() as listener:
        programs = web_programs(data, {}, listener)
        assert [program.name for program in programs] == ["web-1", "web-2"]
        assert {program.inherited for program in programs} == {(listener.fileno(),)}
