package mail

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rsa"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"os"

	"github.com/emersion/go-msgauth/dkim"

	"github.com/longlead/longlead/services/apperr"
)

// fewestBits is how long an RSA key must be (RFC 8301 section 3.2).
const fewestBits = 1024

// signedHeaders are what a signature covers (RFC 6376 section 5.4.1). Those that a letter lacks are covered as absent, so that nobody can add them.
var signedHeaders = []string{"From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted", "MIME-Version", "Content-Type", "Content-Transfer-Encoding", "Reply-To", "Cc"}

// Signer signs letters by DKIM. A nil Signer leaves them as they are.
type Signer struct {
	domain, selector string
	key              crypto.Signer
}

// LoadSigner reads a private key (PEM, PKCS #8 or PKCS #1; RSA or Ed25519) from a file. The public one belongs into the DNS, under
// selector._domainkey.domain.
func LoadSigner(domain, selector, file string) (*Signer, error) {
	content, err := os.ReadFile(file)
	if err != nil {
		return nil, apperr.InvalidField("dkim-key", "cannot be read", "name a file with the private key that this program may read").Because(err)
	}
	key, err := parseKey(content)
	if err != nil {
		return nil, err
	}
	if domain == "" || selector == "" || plainAddress("x@"+domain) != "" || oneLine(selector) != selector {
		return nil, apperr.InvalidField("dkim", "needs a domain and a selector", "write the domain of the letterhead's address, and the selector that the public key stands under")
	}
	return &Signer{domain: domain, selector: selector, key: key}, nil
}

func parseKey(content []byte) (crypto.Signer, error) {
	bad := func(why string) error {
		return apperr.InvalidField("dkim-key", why, "make one with `openssl genpkey -algorithm RSA -pkeyopt rsa_keygen_bits:2048`")
	}
	block, _ := pem.Decode(content)
	if block == nil {
		return nil, bad("holds no key in PEM")
	}
	var key any
	var err error
	if block.Type == "RSA PRIVATE KEY" {
		key, err = x509.ParsePKCS1PrivateKey(block.Bytes)
	} else {
		key, err = x509.ParsePKCS8PrivateKey(block.Bytes)
	}
	if err != nil {
		return nil, bad("holds no private key that can be read")
	}
	switch key := key.(type) {
	case *rsa.PrivateKey:
		if key.N.BitLen() < fewestBits {
			return nil, bad(fmt.Sprintf("holds a key of %d bits; receivers refuse less than %d", key.N.BitLen(), fewestBits))
		}
		return key, nil
	case ed25519.PrivateKey:
		return key, nil
	}
	return nil, bad("holds a key that is neither RSA nor Ed25519")
}

// sign puts the signature before a message.
func (s *Signer) sign(content []byte) ([]byte, error) {
	if s == nil {
		return content, nil
	}
	var out bytes.Buffer
	err := dkim.Sign(&out, bytes.NewReader(content), &dkim.SignOptions{Domain: s.domain, Selector: s.selector, Signer: s.key, Hash: crypto.SHA256,
		HeaderCanonicalization: dkim.CanonicalizationRelaxed, BodyCanonicalization: dkim.CanonicalizationRelaxed, HeaderKeys: signedHeaders})
	if err != nil {
		return nil, fmt.Errorf("sign a letter: %w", err)
	}
	return out.Bytes(), nil
}
