#!/bin/sh
# Makes what TLS needs: an authority of one's own, and the broker's certificate signed by it.
#
#     sh certificates.sh FOLDER NAME...
#
# NAME is each host name or IPv4 address by which gateways and the service reach the broker. The
# authority is made once; run it again, with the same folder, to renew the certificate.
set -eu

[ $# -ge 2 ] || { echo "usage: sh certificates.sh FOLDER NAME..." >&2; exit 2; }
command -v openssl >/dev/null || { echo "openssl is missing: apt-get install openssl" >&2; exit 1; }
umask 077
mkdir -p "$1"
cd "$1"
shift
days_authority=3650
days_broker=825 # more than that, some clients refuse

if [ ! -e drumkeep-ca.key ]; then
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -sha256 \
        -days $days_authority -subj "/CN=drumkeep authority" \
        -addext "basicConstraints=critical,CA:TRUE,pathlen:0" \
        -addext "keyUsage=critical,keyCertSign,cRLSign" \
        -keyout drumkeep-ca.key -out drumkeep-ca.crt
fi

names=
for name in "$@"; do
    case $name in
    *[!0-9.]*) names="$names,DNS:$name" ;;
    *) names="$names,IP:$name" ;;
    esac
done
{
    echo "subjectAltName=${names#,}"
    echo "basicConstraints=critical,CA:FALSE"
    echo "keyUsage=critical,digitalSignature"
    echo "extendedKeyUsage=serverAuth"
} >drumkeep.ext
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -sha256 \
    -subj "/CN=$1" -keyout drumkeep.key -out drumkeep.csr
openssl x509 -req -sha256 -days $days_broker -in drumkeep.csr -extfile drumkeep.ext \
    -CA drumkeep-ca.crt -CAkey drumkeep-ca.key -CAcreateserial -out drumkeep.crt
rm drumkeep.ext drumkeep.csr
chmod 644 drumkeep-ca.crt drumkeep.crt
