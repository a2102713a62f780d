"""Quotas that replicas share: one script on the Redis or Valkey server, by its own clock.

The script does what `quota.charge` does, in one step that nobody comes between. It asks
the server for the time, so the clocks of the replicas do not matter. Units ahead are given
only while the bucket stays at least half full, so that near the limit every unit is
counted where it is spent.
"""

from loopmargin_service.http.quota import LONGEST_DEBT_US, Policy, Standing
from loopmargin_service.http.redis_link import RedisLink
from loopmargin_service.http.store import Unavailable

SCRIPT = """
local interval, burst = tonumber(ARGV[1]), tonumber(ARGV[2])
local units, ahead, held = tonumber(ARGV[3]), tonumber(ARGV[4]), tonumber(ARGV[6])
local clock = redis.call('TIME')
local now = clock[1] * 1000000 + clock[2]
local full = interval * burst
local full_at = tonumber(redis.call('GET', KEYS[1]) or now) or now
if full_at ~= full_at then full_at = now end
full_at = math.min(math.max(full_at, now), now + full + tonumber(ARGV[5]))
local room = full - (full_at - now)
local needed = (math.min(units, burst - 1) - held) * interval
if room < needed then
  return {0, held + math.max(0, math.floor(room / interval)), needed - room, 0}
end
room = room - (units - held) * interval
if room - ahead * interval < full / 2 then ahead = 0 end
room = room - ahead * interval
full_at = now + full - room
local kept = math.ceil((full_at - now) / 1000) + 1
redis.call('SET', KEYS[1], string.format('%.0f', full_at), 'PX', kept)
local left = math.max(0, math.floor(room / interval))
return {1, left, (left + 1) * interval - room, ahead}
"""


class RedisQuota:
    """The shared keeper, on the link and behind the breaker that the answers use."""

    def __init__(self, link: RedisLink) -> None:
        self._link = link

    async def take(
        self, caller: str, policy: Policy, units: int, ahead: int, held: int = 0
    ) -> Standing:
        """Charge a caller; what it holds ahead pays first."""
        key = f"loopmargin:quota:{caller}"
        numbers = [str(number) for number in (*policy, units, ahead, LONGEST_DEBT_US, held)]
        found = await self._link.call(lambda redis: redis.eval(SCRIPT, 1, key, *numbers))
        match found:
            case [int(admitted), int(left), int(wait_us), int(given)]:
                return Standing(bool(admitted), left, wait_us, given)
        raise Unavailable("the shared quota answered something else")
