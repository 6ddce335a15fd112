"""What C libraries say is not heard, and what we say afterwards is, however threads overlap."""

import os
import threading

from playalong.support.system.quiet_stderr import quiet_stderr


def test_it_is_loud_again_when_the_last_thread_is_done(capfd):
    first_is_in, second_is_in = threading.Event(), threading.Event()

    def first():
        with quiet_stderr():
            first_is_in.set()
            assert second_is_in.wait(20.0)

    thread = threading.Thread(target=first)
    thread.start()
    assert first_is_in.wait(20.0)
    with quiet_stderr():
        second_is_in.set()
        thread.join()
        os.write(2, b"a library's complaint\n")
    os.write(2, b"ours\n")
    assert capfd.readouterr().err == "ours\n"
