-- Switches readers to a finished generation, unless somebody else was faster.
-- KEYS[1] pointer, ARGV[1] generation that it names now ('' for none), ARGV[2]
-- the new one. Returns 1 when switched, 0 when not.
if (redis.call('GET', KEYS[1]) or '') ~= ARGV[1] then
  return 0
end
redis.call('SET', KEYS[1], ARGV[2])
return 1
