#!/bin/sh
# Makes a certificate authority of your own and a certificate for the broker, in the present folder.
#   make-certificates.sh HOST [ADDRESS]
# HOST: the name by which the advisor and the sites reach the broker; ADDRESS: its IP address, where they use that.
# ca.key signs: keep it off the broker. Run again, it renews the broker's certificate with the same authority.
set -eu
host="${1:?usage: make-certificates.sh HOST [ADDRESS]}"
names="DNS:$host${2:+,IP:$2}"
umask 077
if [ ! -f ca.key ]; then
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 3650 \
        -subj "/CN=Well broker authority" -addext "keyUsage=critical,keyCertSign,cRLSign" \
        -keyout ca.key -out ca.pem
fi
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj "/CN=$host" \
    -keyout broker.key -out broker.csr
# All that RFC 5280 asks of both: Python 3.13 and newer refuse anything less.
printf '%s\n' "subjectAltName=$names" extendedKeyUsage=serverAuth keyUsage=critical,digitalSignature \
    basicConstraints=critical,CA:FALSE subjectKeyIdentifier=hash authorityKeyIdentifier=keyid > broker.ext
openssl x509 -req -in broker.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 825 \
    -extfile broker.ext -out broker.pem
rm -f broker.csr broker.ext
chmod 644 ca.pem broker.pem
