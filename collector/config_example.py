# SPDX-License-Identifier: MIT
"""A configuration with every section, as the documents show it. Imports nothing."""

from __future__ import annotations

EXAMPLE = """\
# curdwright.toml lies in the data folder. Every key may be left out unless it says otherwise.

[kitchen]
name = "Fern Lane"
zone = "Europe/Vienna"            # pages show this zone; everything is kept in UTC
altitude_m = 410                  # for the boiling point; pressure_hpa instead, if it is known
room_temperature_degc = 21

[hands_free]
when_heated = "join"              # an idle pot begins to heat: join its batch, ask, or off

[store]
kind = "sqlite"
file = "readings.sqlite3"         # inside the data folder

[alarms]
lead_s = 60                       # how long before a target is reached it is told
over_target_k = 2.0               # how far over a target the milk may be
edge_k = 1.0                      # how near the edge of its band a hold is warned of
silent_h = 12                     # after so long without a reading or a mark: has it ended?
disk_low_mb = 500                 # the disk of the data folder: the least room in MB, or in
disk_low_percent = 5              # percent of it, which counts up to ten times the MB
forward_behind_min = 10           # how old what the central engine has not taken may be

[notices]
contact = "mailto:kitchen@fern-lane.example"   # whom a Web Push service may write to

[[sounder]]                       # on while an alarm is unacknowledged, off when none is
name = "hall"
port = "/dev/serial/by-id/usb-relay-0003"
baud = 9600
on = "A\\n"                       # the bytes at an alarm; \\u0000 to \\u00ff for any byte
off = "a\\n"                      # the bytes when all are acknowledged
repeat_s = 10                     # its state is told again so often
longest_min = 0                   # an alarm sounds at most so long; 0: until acknowledged
least_priority = "medium"

[[sounder]]                       # or at a broker: what is published there is retained
name = "lamp"
host = "127.0.0.1"
broker_port = 1883
topic = "kitchen/lamp"
on = "ON"
off = "OFF"

[[serial]]                        # one for each port
port = "/dev/serial/by-id/usb-bench-scale-0001"   # required
series = "north/scale"            # required
unit = "kg"                       # what the scale is set to; another unit is refused
pattern = "status-mode-weight-unit"
baud = 9600
display_step = 0.005              # what the display counts in, in `unit`

[[serial]]
port = "/dev/serial/by-id/usb-probe-0002"
series = "north/milk"
unit = "Cel"
expression = '(?P<sign>[+-]?)(?P<value>[0-9]+[.][0-9]+) deg'   # your own, instead of a pattern
mode = "polled"
poll = "T?\\r\\n"
poll_interval_s = 1.0
silence_s = 2.0                   # an unfinished line is given up after this
terminator = "\\r\\n"               # else CR, LF and CR LF are all taken
patience_s = 10.0                 # after so long without a valid line the log says so
ignore_first_s = 2.0              # a board that starts when its port is opened says odd things
probe = "one-wire"                # known false readings: one-wire, int16-tenths or scpi

[[mqtt]]                          # one for each broker
host = "127.0.0.1"
client_id = "curdwright-fern-lane"   # required; keep it, the broker keeps messages under it
username = "collector"
password_env = "CURDWRIGHT_MQTT_PASSWORD"   # the variable that holds it, never the password
status_topic = "curdwright/fern-lane/status"   # "online" and "offline" are told here, retained

[[mqtt.topics]]                   # no topic may fit two filters: it would come twice
filter = "kitchen/probes/#"
payload = "senml"

[[mqtt.topics]]
filter = "pots/+/temperature"
payload = "number"
series = "{2}/milk"               # {2} is the second level of the topic
unit = "Cel"

[[mqtt.topics]]
filter = "kitchen/south/state"
payload = "json"
series = "south/milk"
value_pointer = "/probe/temperature"
unit = "Cel"
time_pointer = "/time"
time_form = "rfc3339"             # or s, ms: since 1970 UTC

[forward]                         # a central engine that takes the line protocol
url = "https://engine.example:8086"
token_env = "CURDWRIGHT_ENGINE_TOKEN"   # the variable that holds it, never the token
org = "plant"
bucket = "readings"
site = "Fern Lane"                # a tag that tells sites apart; leave it out for none
readings_per_write = 5000         # how many readings one request carries at most

[[replay]]
file = "last_week.csv"
speed = 10.0

[[simulated]]
name = "Small"
seed = 7
series_prefix = "small"
speed = 1.0
"""
