"""Start the window and run it to its end."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from pathlib import Path
from types import TracebackType

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from clearturn_app.document import opened
from clearturn_app.window import background
from clearturn_app.window.main import MainWindow, first_document


def run_window(path: Path | None) -> int:
    """Show the sheet for a job file, or for the demo corner, and return the exit code.

    Raises
    ------
    JobProblem
        If the file is no job.
    """
    application = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(application, QApplication)
    application.setApplicationName("Clearturn")
    application.setStyle("Fusion")
    if path is None:
        document, is_demo = first_document()
    else:
        document, is_demo = opened(path), False
    window = MainWindow(document)
    _tell_in(window)
    # What was read by then stays for good; looking through it again would hold up the window.
    background.when_read = gc.freeze
    window.show()
    if is_demo:
        window.welcome()
    window.start()
    # Ctrl-C on the terminal closes the window; Python only sees it between two events.
    signal.signal(signal.SIGINT, lambda _number, _frame: window.close())
    pulse = QTimer(window)
    pulse.start(300)
    pulse.timeout.connect(lambda: None)
    code = int(application.exec())
    if not window.tasks.wait(0.0):
        # All is saved; a thread that still works would crash in an interpreter taken down.
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    return code


def _tell_in(window: MainWindow) -> None:
    """Tell errors nobody caught in the window instead of ending it."""

    def told(
        _kind: type[BaseException], error: BaseException, _trace: TracebackType | None
    ) -> None:
        if isinstance(error, KeyboardInterrupt):
            window.close()
        else:
            window.tell(error)

    sys.excepthook = told
    threading.excepthook = lambda args: (
        window.session.trouble.emit(args.exc_value) if args.exc_value is not None else None
    )
