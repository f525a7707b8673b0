"""Voice-driven, offline, hands-free service procedures with an interlock that is opened only by the spoken phrase."""

__version__ = "0.1.0"
