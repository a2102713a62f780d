"""The budget that keeps clients from storming a service in trouble."""

import threading

import pytest

import loopmargin
from tests.unit.sdk.standin import Service, Time, answered, client_of, example, refused


def ask_quietly(client: loopmargin.Client, times: int) -> None:
    """Ask again and again, whatever comes back."""
    for _ in range(times):
        with pytest.raises(loopmargin.Unavailable):
            client.radiator_area(example())


@pytest.mark.parametrize("retries", [2, 10])
def test_storm_is_bounded(retries: int) -> None:
    """Clients that get nothing but 503 send a tenth more than asked, and ten each."""
    service = Service(refused(503))
    clients = [client_of(service, Time(share=0.0), max_retries=retries) for _ in range(5)]

    for client in clients:
        ask_quietly(client, 200)

    assert 5 * 200 < len(service.requests) <= 1.1 * 5 * 200 + 5 * 10


def test_variants_share_the_budget() -> None:
    """A variant for each call does not come with ten more retries."""
    service = Service(refused(503))
    client = client_of(service, Time(share=0.0))

    for _ in range(200):
        ask_quietly(client.with_options(max_retries=5), 1)

    assert len(service.requests) <= 1.1 * 200 + 10


def test_budget_can_be_shared_between_clients() -> None:
    """Clients of one program may have one budget."""
    service = Service(refused(503))
    budget = loopmargin.RetryBudget()

    for _ in range(100):
        ask_quietly(client_of(service, Time(share=0.0), retry_budget=budget), 1)

    assert len(service.requests) <= 1.1 * 100 + 10


def test_healthy_service_sees_no_more_than_is_asked() -> None:
    """Without trouble every question is sent once."""
    service = Service()
    client = client_of(service)

    for _ in range(50):
        client.radiator_area(example())

    assert len(service.requests) == 50


def test_budget_fills_with_time() -> None:
    """Who asks rarely keeps the retries, and never saves up more than ten."""
    budget = loopmargin.RetryBudget()
    budget.earn(0.0)
    assert [budget.spend() for _ in range(11)] == [True] * 10 + [False]

    budget.earn(19.0)
    assert [budget.spend() for _ in range(3)] == [True, True, False]

    budget.earn(1e6)
    assert [budget.spend() for _ in range(11)] == [True] * 10 + [False]


def test_clock_that_runs_backwards_takes_nothing() -> None:
    """Two threads may bring their instants in the wrong order."""
    budget = loopmargin.RetryBudget()
    budget.earn(100.0)
    budget.earn(50.0)

    assert [budget.spend() for _ in range(10)] == [True] * 10


def test_budget_is_counted_right_between_threads() -> None:
    """Threads that spend at once never spend more than there is."""
    budget = loopmargin.RetryBudget()
    spent: list[bool] = []
    threads = [
        threading.Thread(target=lambda: spent.extend(budget.spend() for _ in range(50)))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sum(spent) == 10


def test_recovered_service_is_retried_again() -> None:
    """After a storm, answers earn the retries back."""
    service = Service(*[refused(503)] * 200, *[answered()] * 20, refused(503), answered())
    client = client_of(service, Time(share=0.0))
    while len(service.requests) < 200:
        ask_quietly(client, 1)

    for _ in range(20):
        client.radiator_area(example())

    assert client.ask(loopmargin.RADIATOR_AREA, example()).attempts == 2
