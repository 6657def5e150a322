"""One customer's export and erasure as use cases; knows no law."""

from __future__ import annotations

from dialogue.counter.counter import Counter
from dialogue.counter.customers import the_customer
from dialogue.counter.outcomes import answering
from storage.privacy import CustomerExport, Erasure
from storage.privacy import erase_customer as erase_stored
from storage.privacy import export_customer as export_stored
from storage.rows import CustomerRow


@answering
def name_customer(counter: Counter, said: str) -> CustomerRow:
    """Return the one customer who is meant by "#number", name, phone or tag.

    Raises:
        NotFound: when nobody is.
    """
    with counter.look() as unit:
        return the_customer(counter, unit, said)


def export_customer(counter: Counter, customer_id: int) -> CustomerExport:
    """Return everything that is stored of one customer.

    Raises:
        NotFound: when there is no such customer.
    """
    return export_stored(counter.store, customer_id)


def erase_customer(counter: Counter, customer_id: int) -> Erasure:
    """Erase one customer for good; what must stay for the books stays as nobody's.

    Raises:
        NotFound: when there is no such customer.
    """
    return erase_stored(counter.store, customer_id, counter.who)
