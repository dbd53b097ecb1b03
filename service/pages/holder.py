"""Who visits a page, however they signed in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.delivery.plain_text import clean
from service.operations.access.sign_in_links import LinkHolder
from service.records.access import ApiKey
from service.records.audit import Actor, ActorKind, Entrance, shortened_address

NOT_ONE_FARM: Final = "-"
BY_LINK: Final = Actor(ActorKind.LINK, Entrance.PAGES)
"""Whoever is not signed in: the address is all that they need to know."""


@dataclass(frozen=True, slots=True)
class Holder:
    """The visitor, however they signed in."""

    name: str
    farm_ids: frozenset[str] | None
    """The farms that they see; None: the whole region."""
    rights: frozenset[str]
    is_signed_in: bool = True
    """False: the service is open to this machine."""
    actor_kind: ActorKind = ActorKind.KEY
    actor_id: str = ""
    """The key, or the shortened mail address, that they signed in with."""

    @property
    def actor(self) -> Actor:
        """Whose changes those made on a page are."""
        return Actor(self.actor_kind, Entrance.PAGES, self.actor_id, self.name, self.farm_ids)

    @property
    def farm_id(self) -> str | None:
        """The one farm, None for the region; a name that no farm has for none or several."""
        if self.farm_ids is None:
            return None
        return next(iter(self.farm_ids)) if len(self.farm_ids) == 1 else NOT_ONE_FARM

    def sees(self, farm_id: str) -> bool:
        """Whether a farm is theirs."""
        return self.farm_ids is None or farm_id in self.farm_ids


def holder_of(key: ApiKey) -> Holder:
    """Who signs in with a key."""
    return Holder(key.name, only(key.farm_id), key.scopes, actor_id=key.key_id)


def link_holder_of(reader: LinkHolder) -> Holder:
    """Who signs in with a link; never the region, whatever they are."""
    return Holder(
        clean(reader.name),
        reader.farm_ids,
        reader.rights,
        actor_kind=ActorKind.PERSON,
        actor_id=shortened_address(reader.mail_address),
    )


def only(farm_id: str | None) -> frozenset[str] | None:
    """The farms that somebody bound to a farm sees; None: the whole region."""
    return None if farm_id is None else frozenset({farm_id})
