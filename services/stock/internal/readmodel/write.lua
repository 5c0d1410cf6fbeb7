-- The only script that writes the view. It applies operations that lead from
-- one position of the ledger to a later one, in order and at most once.
--
-- KEYS[1] cursor; the other keys are named by the operations.
-- ARGV[1] position that the writer believes the view to stand at
-- ARGV[2] position after these operations
-- ARGV[3...] calls: a command, an index into KEYS, how many arguments follow,
-- the arguments. All of them may be repeated: they set, they never add to.
--
-- Returns 1 applied, 0 the view is there already, -1 the view stands before
-- ARGV[1]. Positions are text: numbers change their shape in Lua.
local cursor = redis.call('GET', KEYS[1]) or '0'
local at, before, after = tonumber(cursor), tonumber(ARGV[1]), tonumber(ARGV[2])
if at < before then
  return -1
end
-- Operations that lead nowhere add to a position that is being built.
if at >= after and not (before == after and at == after) then
  return 0
end
local i = 3
while ARGV[i] do
  local n = tonumber(ARGV[i + 2])
  redis.call(ARGV[i], KEYS[tonumber(ARGV[i + 1])], unpack(ARGV, i + 3, i + 2 + n))
  i = i + 3 + n
end
redis.call('SET', KEYS[1], ARGV[2])
return 1
