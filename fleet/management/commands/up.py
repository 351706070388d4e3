import os
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import BaseCommand, CommandError, call_command

from fleet.people.actions import ensure_roles
from fleet.web import processes


class Command(BaseCommand):
    help = "Start the web server and the job worker together; Ctrl-C stops both."

    def handle(self, *_args: Any, **_options: Any) -> None:
        port = settings.ENVIRONMENT.port
        if not processes.port_is_free(port):
            raise CommandError(
                f"Port {port} is taken, perhaps by another Benchward. Stop that one, or choose another port: "
                f"BENCHWARD_PORT={port + 1}"
            )
        try:
            self._prepare()
        except KeyboardInterrupt:
            raise CommandError("Stopped before everything was prepared; start again to go on.") from None
        with (
            processes.stop_asked() as asked,
            processes.noted_as_running(settings.VAR / "running"),
            processes.household(_programs(port), _environment()) as home,
        ):
            try:
                processes.wait_until_answering(home, port, "/healthz", asked)
                if not asked.is_set():
                    self._greet()
                processes.watch(home, asked)
            except processes.EndedError as error:
                raise CommandError(str(error)) from error
            self.stdout.write("\nStopping the web server and the job worker ...")
        self.stdout.write("Stopped. Everything entered is kept.")

    def _prepare(self) -> None:
        self.stdout.write("Preparing the database ...")
        call_command("migrate", interactive=False, verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        ensure_roles()
        if settings.ENVIRONMENT.demo and not get_user_model().objects.exists():
            call_command("demo", stdout=self.stdout)

    def _greet(self) -> None:
        self.stdout.write(self.style.SUCCESS(f"\nBenchward is at {settings.ORIGIN}"))
        if settings.ENVIRONMENT.demo:
            call_command("demo", sign_ins=True, stdout=self.stdout)
        self.stdout.write("Ctrl-C stops it.\n")
        self.stdout.flush()


def _programs(port: int) -> list[processes.Program]:
    logs = Path(settings.VAR) / "log"
    web = ["gunicorn", "fleet.wsgi", f"--bind=127.0.0.1:{port}", "--workers=2", "--threads=4", "--log-level=warning"]
    jobs = ["celery", "--app=fleet.jobs.app", "--quiet", "worker", "--beat"]
    limits = ["--concurrency=2", "--loglevel=INFO", "--without-gossip"]
    return [
        processes.Program("web server", [sys.executable, "-m", *web], logs / "web.log"),
        processes.Program("job worker", [sys.executable, "-m", *jobs, *limits], logs / "jobs.log"),
    ]


def _environment() -> dict[str, str]:
    return {**os.environ, "DJANGO_SETTINGS_MODULE": "fleet.settings", "PYTHONUNBUFFERED": "1"}
