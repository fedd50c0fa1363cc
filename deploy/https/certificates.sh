#!/bin/sh
# Makes what HTTPS needs inside a company: an authority of its own, and the service's certificate.
#
#     sh certificates.sh FOLDER NAME...
#
# NAME is each host name or IPv4 address by which people reach the pages. The authority is made once,
# good for these names and no others, so that a phone that trusts it trusts nothing else by it. Run it
# again, with the same folder and names, to renew the certificate; for other names take a new folder.
set -eu

[ $# -ge 2 ] || { echo "usage: sh certificates.sh FOLDER NAME..." >&2; exit 2; }
command -v openssl >/dev/null || { echo "openssl is missing: apt-get install openssl" >&2; exit 1; }
umask 077
mkdir -p "$1"
cd "$1"
shift
days_authority=3650
days_service=397 # phones refuse what is good for longer

names= permitted= ip=
for name in "$@"; do
    case $name in
    *[!0-9.]*) names="$names,DNS:$name" permitted="$permitted,permitted;DNS:$name" ;;
    *) names="$names,IP:$name" permitted="$permitted,permitted;IP:$name/255.255.255.255" ip=yes ;;
    esac
done
# A kind of name that is not named at all would be free.
[ -n "$ip" ] || permitted="$permitted,excluded;IP:0.0.0.0/0.0.0.0"
case $permitted in *DNS:*) ;; *) permitted="$permitted,permitted;DNS:invalid" ;; esac

if [ ! -e drumkeep-web-ca.key ]; then
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -sha256 \
        -days $days_authority -subj "/CN=drumkeep pages" \
        -addext "basicConstraints=critical,CA:TRUE,pathlen:0" \
        -addext "keyUsage=critical,keyCertSign,cRLSign" \
        -addext "nameConstraints=critical,${permitted#,}" \
        -keyout drumkeep-web-ca.key -out drumkeep-web-ca.crt
fi

{
    echo "subjectAltName=${names#,}"
    echo "basicConstraints=critical,CA:FALSE"
    echo "keyUsage=critical,digitalSignature"
    echo "extendedKeyUsage=serverAuth"
} >drumkeep-web.ext
openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -sha256 \
    -subj "/CN=$1" -keyout drumkeep-web.key -out drumkeep-web.csr
openssl x509 -req -sha256 -days $days_service -in drumkeep-web.csr -extfile drumkeep-web.ext \
    -CA drumkeep-web-ca.crt -CAkey drumkeep-web-ca.key -CAcreateserial -out drumkeep-web.crt
rm drumkeep-web.ext drumkeep-web.csr
chmod 644 drumkeep-web-ca.crt drumkeep-web.crt
openssl verify -CAfile drumkeep-web-ca.crt drumkeep-web.crt
openssl x509 -in drumkeep-web-ca.crt -noout -fingerprint -sha256
