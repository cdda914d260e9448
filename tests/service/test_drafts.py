"""Jobs in progress: kept, changed as one step, let go after a month."""

import threading
from datetime import timedelta
from pathlib import Path

import pytest

from service import drafts
from service.cases import Cases
from service.drafts import Drafts


@pytest.fixture
def store(tmp_path: Path) -> Drafts:
    return Drafts(Cases(f"sqlite:///{tmp_path / 'cases.sqlite'}").engine)


def test_a_draft_is_found_again(store: Drafts) -> None:
    draft_id = store.create({"axle": "front"})
    assert store.document(draft_id) == {"axle": "front"}


def test_an_unknown_draft_is_none_and_cannot_be_changed(store: Drafts) -> None:
    assert store.document("nobody") is None
    with pytest.raises(KeyError, match="nobody"):
        store.change("nobody", lambda document: document)


def test_changes_made_at_once_are_all_kept(store: Drafts) -> None:
    draft_id = store.create({"rows": []})

    def add(number: int) -> None:
        store.change(draft_id, lambda document: {"rows": [*document["rows"], number]})

    threads = [threading.Thread(target=add, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    document = store.document(draft_id)
    assert document is not None
    assert sorted(document["rows"]) == list(range(8))


def test_drafts_nobody_touched_are_let_go(store: Drafts, monkeypatch: pytest.MonkeyPatch) -> None:
    old = store.create({})
    monkeypatch.setattr(drafts, "KEPT_FOR", timedelta(seconds=-1))
    store.create({})
    assert store.document(old) is None
