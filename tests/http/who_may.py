"""Who may do what at which address: the table that test_who_may.py attacks over HTTP.

A line is a method, an address, the roles that may (m manager, d dispatcher, c crew, v viewer;
``all`` of them; ``open`` without signing in) and what a token must be good for (``-``: what takes
no token; ``any``: no matter what). It follows design.md, section 5, "Who may". A route without a
line fails the test.
What hangs on more than the address (kinds of event, whose alarm, whose notices) is told here for a
hold, an alarm for managers and somebody else's account.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from drumkeep.domain.roles import Role, Scope

_LETTERS: Final = {"m": Role.MANAGER, "d": Role.DISPATCHER, "c": Role.CREW, "v": Role.VIEWER}

_TABLE: Final = """
GET    /api/v1/accounts                                                   m    read
POST   /api/v1/accounts                                                   m    manage
GET    /api/v1/accounts/{account_id}                                      m    read
PATCH  /api/v1/accounts/{account_id}                                      m    manage
GET    /api/v1/accounts/{account}/notice-addresses                        m    read
POST   /api/v1/accounts/{account}/notice-addresses                        m    manage
DELETE /api/v1/accounts/{account}/notice-addresses/{address_id}           m    manage
GET    /api/v1/accounts/{account}/notice-addresses/{address_id}           m    read
PATCH  /api/v1/accounts/{account}/notice-addresses/{address_id}           m    manage
POST   /api/v1/accounts/{account}/notice-addresses/{address_id}/test      m    manage
GET    /api/v1/alarms                                                     all  read
GET    /api/v1/alarms/{alarm_id}                                          all  read
POST   /api/v1/alarms/{alarm_id}/acknowledge                              m    record
POST   /api/v1/alarms/{alarm_id}/shelve                                   m    record
GET    /api/v1/audit                                                      m    read
GET    /api/v1/claims                                                     all  read
POST   /api/v1/claims                                                     mdc  record
GET    /api/v1/claims/{number}                                            all  read
POST   /api/v1/claims/{number}/notes                                      mdc  record
GET    /api/v1/claims/{number}/temperatures                               all  read
GET    /api/v1/consumables                                                all  read
POST   /api/v1/consumables                                                m    manage
GET    /api/v1/consumables/{consumable_id}                                all  read
PATCH  /api/v1/consumables/{consumable_id}                                m    manage
GET    /api/v1/consumables/{consumable_id}/entries                        all  read
POST   /api/v1/consumables/{consumable_id}/entries                        mdc  record
GET    /api/v1/counts                                                     all  read
POST   /api/v1/counts                                                     mdc  record
GET    /api/v1/counts/{count_id}                                          all  read
POST   /api/v1/counts/{count_id}/finish                                   mdc  record
POST   /api/v1/counts/{count_id}/mends                                    mdc  record
POST   /api/v1/counts/{count_id}/seen                                     mdc  record
DELETE /api/v1/counts/{count_id}/seen/{tag}                               mdc  record
POST   /api/v1/deliveries                                                 mdc  record
GET    /api/v1/drums                                                      all  read
POST   /api/v1/drums                                                      mdc  record
GET    /api/v1/drums/{tag}                                                all  read
POST   /api/v1/drums/{tag}/events                                         mdc  record
GET    /api/v1/drums/{tag}/history                                        all  read
GET    /api/v1/drums/{tag}/why                                            all  read
GET    /api/v1/exports/all                                                m    read
GET    /api/v1/exports/{what}.csv                                         all  read
POST   /api/v1/forecasts                                                  all  read
GET    /api/v1/gateways                                                   all  read
POST   /api/v1/gateways                                                   m    manage
GET    /api/v1/gateways/{site}/{code}                                     all  read
PATCH  /api/v1/gateways/{site}/{code}                                     m    manage
DELETE /api/v1/gateways/{site}/{code}/credential                          m    manage
POST   /api/v1/gateways/{site}/{code}/credential                          m    manage
POST   /api/v1/imports/drums                                              mdc  record
POST   /api/v1/imports/events                                             mdc  record
POST   /api/v1/imports/{what}                                             m    manage
GET    /api/v1/labels                                                     all  read
POST   /api/v1/labels                                                     mdc  record
GET    /api/v1/labels/sizes                                               all  read
GET    /api/v1/lots                                                       all  read
POST   /api/v1/lots                                                       m    manage
GET    /api/v1/lots/{product}/{code:path}                                 all  read
PATCH  /api/v1/lots/{product}/{code:path}                                 m    manage
GET    /api/v1/mappings                                                   all  read
POST   /api/v1/mappings                                                   m    manage
POST   /api/v1/mappings/try                                               m    manage
DELETE /api/v1/mappings/{code}                                            m    manage
GET    /api/v1/mappings/{code}                                            all  read
POST   /api/v1/moves                                                      mdc  record
GET    /api/v1/notices                                                    all  read
GET    /api/v1/photos                                                     all  read
POST   /api/v1/photos                                                     mdc  record
GET    /api/v1/photos/{identity}                                          all  read
GET    /api/v1/photos/{identity}/jpeg                                     all  read
GET    /api/v1/places                                                     all  read
POST   /api/v1/places                                                     m    manage
GET    /api/v1/places/{site}/{code}                                       all  read
PATCH  /api/v1/places/{site}/{code}                                       m    manage
GET    /api/v1/places/{site}/{code}/film                                  all  read
PUT    /api/v1/places/{site}/{code}/film                                  m    manage
GET    /api/v1/prices                                                     all  read
POST   /api/v1/prices                                                     m    manage
GET    /api/v1/products                                                   all  read
POST   /api/v1/products                                                   m    manage
GET    /api/v1/products/{code}                                            all  read
PATCH  /api/v1/products/{code}                                            m    manage
GET    /api/v1/pulls                                                      all  read
POST   /api/v1/pulls                                                      mdc  record
GET    /api/v1/pulls/{pull_id}                                            all  read
POST   /api/v1/pulls/{pull_id}/back                                       mdc  record
POST   /api/v1/pulls/{pull_id}/close                                      mdc  record
POST   /api/v1/pulls/{pull_id}/fill                                       mdc  record
POST   /api/v1/pulls/{pull_id}/swap                                       mdc  record
POST   /api/v1/pulls/{pull_id}/take                                       mdc  record
POST   /api/v1/readings                                                   mdc  ingest
POST   /api/v1/readings/imports                                           m    ingest
GET    /api/v1/readings/rejected                                          m    read
GET    /api/v1/rig-checks                                                 all  read
POST   /api/v1/rig-checks                                                 mdc  record
GET    /api/v1/rig-checks/due                                             all  read
GET    /api/v1/sensors                                                    all  read
POST   /api/v1/sensors                                                    m    manage
GET    /api/v1/sensors/{name:path}                                        all  read
PATCH  /api/v1/sensors/{name:path}                                        m    manage
DELETE /api/v1/session                                                    all  -
GET    /api/v1/session                                                    all  any
PATCH  /api/v1/session                                                    all  -
POST   /api/v1/session                                                    open -
GET    /api/v1/side-checks                                                all  read
POST   /api/v1/side-checks                                                mdc  record
GET    /api/v1/side-checks/{check_id}                                     all  read
GET    /api/v1/sites                                                      all  read
POST   /api/v1/sites                                                      m    manage
GET    /api/v1/sites/{code}                                               all  read
PATCH  /api/v1/sites/{code}                                               m    manage
GET    /api/v1/sites/{code}/air-forecast                                  all  read
PUT    /api/v1/sites/{code}/air-forecast                                  md   ingest
GET    /api/v1/sparkplug                                                  all  read
POST   /api/v1/sparkplug                                                  m    manage
POST   /api/v1/sparkplug/try                                              all  manage
DELETE /api/v1/sparkplug/{group}                                          m    manage
GET    /api/v1/sparkplug/{group}                                          all  read
GET    /api/v1/stock                                                      all  read
GET    /api/v1/stock/losses                                               all  read
GET    /api/v1/strays                                                     all  read
DELETE /api/v1/strays/{stray}                                             m    manage
POST   /api/v1/supplier-labels                                            all  record
GET    /api/v1/tokens                                                     m    read
POST   /api/v1/tokens                                                     m    manage
GET    /api/v1/tokens/{token_id}                                          m    read
PATCH  /api/v1/tokens/{token_id}                                          m    manage
GET    /api/v1/traces/drum                                                all  read
GET    /api/v1/traces/lot                                                 all  read
GET    /api/v1/traces/place                                               all  read
GET    /api/v1/trade-items                                                all  read
POST   /api/v1/trade-items                                                mdc  record
GET    /                                                                  all  read
GET    /alarms                                                            all  read
POST   /alarms/{alarm_id}/acknowledge                                     m    -
GET    /app.webmanifest                                                   open -
GET    /audit                                                             m    read
GET    /audit.csv                                                         m    read
GET    /claims                                                            all  read
POST   /claims                                                            mdc  -
GET    /claims/{number}                                                   all  read
POST   /claims/{number}/notes                                             mdc  -
GET    /claims/{number}/temperatures.csv                                  all  read
GET    /d/{tag}                                                           all  read
GET    /drums/{tag}                                                       all  read
GET    /drums/{tag}/chart.json                                            all  read
POST   /drums/{tag}/events                                                mdc  -
GET    /drums/{tag}/qr.svg                                                all  read
POST   /drums/{tag}/undo                                                  mdc  -
GET    /drums/{tag}/why                                                   all  read
GET    /export                                                            all  read
GET    /favicon.ico                                                       open -
GET    /floor                                                             all  read
GET    /floor/table                                                       all  read
GET    /gateways                                                          all  read
POST   /gateways/{site}/{code}/credential                                 m    -
POST   /gateways/{site}/{code}/credential/revoke                          m    -
GET    /health                                                            open -
GET    /hookup                                                            all  read
POST   /hookup                                                            mdc  -
GET    /hookup/{check_id}                                                 all  read
GET    /import                                                            mdc  read
POST   /import                                                            mdc  -
GET    /labels                                                            all  read
POST   /labels                                                            mdc  -
GET    /live                                                              all  read
GET    /mappings                                                          all  read
POST   /mappings                                                          m    -
POST   /mappings/{code}/delete                                            m    -
GET    /me                                                                all  read
POST   /me/company                                                        all  -
POST   /me/company/{identity_id}/remove                                   all  -
POST   /me/language                                                       all  -
POST   /me/password                                                       all  -
POST   /me/tokens                                                         all  -
POST   /me/tokens/{token_id}/revoke                                       all  -
POST   /me/units                                                          all  -
GET    /methods                                                           all  read
GET    /metrics                                                           all  read
GET    /move                                                              all  read
POST   /move                                                              mdc  -
GET    /moves/{identity}                                                  all  read
POST   /moves/{identity}/undo                                             mdc  -
GET    /no-connection                                                     open -
GET    /no-connection/hookup                                              open -
GET    /notices                                                           all  read
POST   /notices/{account}                                                 m    -
POST   /notices/{account}/{address_id}/least                              m    -
POST   /notices/{account}/{address_id}/remove                             m    -
POST   /notices/{account}/{address_id}/test                               m    -
GET    /openapi.json                                                      all  read
GET    /people                                                            m    read
POST   /people                                                            m    -
POST   /people/{name}/change                                              m    -
POST   /people/{name}/devices/{handle}/end                                m    -
POST   /people/{name}/phone                                               m    -
POST   /photos                                                            mdc  -
GET    /photos/{identity}                                                 all  read
GET    /places/{site}/{code}                                              all  read
POST   /places/{site}/{code}/capacity                                     m    -
POST   /places/{site}/{code}/film                                         m    -
POST   /places/{site}/{code}/setting                                      m    -
GET    /products                                                          all  read
GET    /products/{code}                                                   all  read
POST   /products/{code}/points                                            m    -
POST   /products/{code}/system                                            m    -
GET    /pulls                                                             all  read
POST   /pulls                                                             mdc  -
GET    /pulls/{pull_id}                                                   all  read
POST   /pulls/{pull_id}/back                                              mdc  -
POST   /pulls/{pull_id}/close                                             mdc  -
POST   /pulls/{pull_id}/fill                                              mdc  -
POST   /pulls/{pull_id}/swap                                              mdc  -
POST   /pulls/{pull_id}/take                                              mdc  -
GET    /ready                                                             open -
GET    /receipts/{identity}                                               all  read
GET    /receive                                                           all  read
POST   /receive                                                           mdc  -
GET    /refused                                                           m    read
GET    /rig-checks                                                        all  read
POST   /rig-checks                                                        mdc  -
GET    /scan                                                              all  read
GET    /sensors                                                           all  read
GET    /sensors/import                                                    m    read
POST   /sensors/import                                                    m    -
GET    /sign-in                                                           open -
POST   /sign-in                                                           open -
GET    /sign-in/company                                                   open -
GET    /sign-in/company/back                                              open -
POST   /sign-in/own-password                                              open -
GET    /sign-in/once/{secret}                                             open -
POST   /sign-in/once/{secret}                                             open -
POST   /sign-out                                                          all  -
GET    /sparkplug                                                         all  read
POST   /sparkplug                                                         m    -
POST   /sparkplug/{group}/delete                                          m    -
GET    /stock                                                             all  read
GET    /stock.csv                                                         all  read
GET    /stock/consumables                                                 all  read
POST   /stock/consumables                                                 m    -
POST   /stock/consumables/{consumable_id}/change                          m    -
POST   /stock/consumables/{consumable_id}/entries                         mdc  -
GET    /stock/counts                                                      all  read
POST   /stock/counts                                                      mdc  -
GET    /stock/counts/{count_id}                                           all  read
POST   /stock/counts/{count_id}/finish                                    mdc  -
POST   /stock/counts/{count_id}/mend                                      mdc  -
POST   /stock/counts/{count_id}/seen                                      mdc  -
GET    /stock/losses                                                      all  read
GET    /stock/losses.csv                                                  all  read
GET    /stock/prices                                                      all  read
POST   /stock/prices                                                      m    -
POST   /strays/{stray}/adopt                                              m    -
POST   /strays/{stray}/forget                                             m    -
GET    /tokens                                                            m    read
POST   /tokens                                                            m    -
POST   /tokens/{token_id}/revoke                                          m    -
GET    /trace                                                             all  read
GET    /trace.csv                                                         all  read
GET    /waiting                                                           open -
GET    /worker.js                                                         open -
"""


@dataclass(frozen=True)
class Line:
    """A line of the table."""

    method: str
    path: str
    roles: frozenset[Role]
    is_open: bool
    scope: Scope | None

    @property
    def is_api(self) -> bool:
        """Whether programs use it, with tokens."""
        return self.path.startswith("/api/") or self.method == "GET"


def _line(text: str) -> Line:
    method, path, roles, scope = text.split()
    letters = "mdcv" if roles in {"all", "open"} else roles
    return Line(
        method,
        path,
        frozenset(_LETTERS[letter] for letter in letters),
        roles == "open",
        None if scope in {"-", "any"} else Scope(scope),
    )


LINES: Final = tuple(_line(text) for text in _TABLE.strip().splitlines())


def routes(found: Any) -> Iterator[tuple[str, str]]:
    """Walk what the app serves: (method, path), included routers and all."""
    for route in found:
        if hasattr(route, "effective_candidates"):
            yield from routes(route.effective_candidates())
        else:
            for method in getattr(route, "methods", None) or ():
                yield method, route.path
