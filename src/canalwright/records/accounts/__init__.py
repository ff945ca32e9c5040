"""Who may do what: users and roles, signing in, sessions that lock when idle, and the log of who looked at what."""

from canalwright.records.accounts.access import AccessLog
from canalwright.records.accounts.roles import Act, Role, may
from canalwright.records.accounts.sessions import Session, Terms
from canalwright.records.accounts.signin import SignIn
from canalwright.records.accounts.users import User, Users

__all__ = ["AccessLog", "Act", "Role", "Session", "SignIn", "Terms", "User", "Users", "may"]
