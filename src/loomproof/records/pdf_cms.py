"""The CMS (RFC 5652) of a certificate's PDF signature: one station, one ECDSA value, one way to build it."""

from __future__ import annotations

# tsp adds kinds of attributes to cms when it is imported, which cms takes up only before its first use.
from asn1crypto import cms, tsp  # type: ignore[import-untyped]  # ships no types
from asn1crypto import x509 as asn1_x509

from loomproof.records.canonical import sha256_hex

_SHA256 = {"algorithm": "sha256"}


def signed_attributes(certificate: bytes, digest: bytes) -> cms.CMSAttributes:
    """Return what is signed of a file with this SHA-256 (ETSI EN 319 122-1, 5.1 and 5.2.2.3).

    The kind of content, the digest, and which certificate (DER) the signer means; no time, which stands in
    the file.
    """
    loaded = asn1_x509.Certificate.load(certificate)
    meant = {
        "hash_algorithm": _SHA256,
        "cert_hash": bytes.fromhex(sha256_hex(certificate)),
        "issuer_serial": {
            "issuer": [asn1_x509.GeneralName({"directory_name": loaded.issuer})],
            "serial_number": loaded.serial_number,
        },
    }
    return cms.CMSAttributes(
        [
            {"type": "content_type", "values": ["data"]},
            {"type": "message_digest", "values": [digest]},
            {"type": "signing_certificate_v2", "values": [tsp.SigningCertificateV2({"certs": [meant]})]},
        ]
    )


def signed_data(certificate: bytes, attributes: cms.CMSAttributes, signature: bytes) -> bytes:
    """Return the signature's DER from its three free parts: every other byte has one value only."""
    loaded = asn1_x509.Certificate.load(certificate)
    attested = cms.CMSAttributes(list(attributes))
    for part in (loaded, attested):
        # What was parsed keeps its bytes unless it is made to encode itself. Asked of the whole, each level
        # would have all below it encoded twice, and this is a dozen levels deep.
        part.dump(force=True)
    made = cms.ContentInfo(
        {
            "content_type": "signed_data",
            "content": {
                "version": "v1",
                "digest_algorithms": [_SHA256],
                "encap_content_info": {"content_type": "data"},
                "certificates": [loaded],
                "signer_infos": [
                    {
                        "version": "v1",
                        "sid": cms.SignerIdentifier(
                            {
                                "issuer_and_serial_number": {
                                    "issuer": loaded.issuer,
                                    "serial_number": loaded.serial_number,
                                }
                            }
                        ),
                        "digest_algorithm": _SHA256,
                        "signed_attrs": attested,
                        "signature_algorithm": {"algorithm": "sha256_ecdsa"},
                        "signature": signature,
                    }
                ],
            },
        }
    )
    der: bytes = made.dump()
    return der
