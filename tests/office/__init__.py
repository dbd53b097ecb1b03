"""An office on trial: the processes of deploy/container as they are, on one machine, thrown away.

``deploy/try.sh`` starts it. What is real: the proxy with its configuration and a certificate
authority of its own, PostgreSQL, two web processes, two schedulers, a relay and Prometheus with its
rules. What is invented: farms, weather and people. Nothing outside a temporary folder is touched,
and every port is a free one.
"""
